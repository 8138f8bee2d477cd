"""A training day before the season's last round: two divers practise on a plot that the lead then answers, coral by coral.

What was practised stands outside every figure; it is there so that practice can be scored. NL is new, RS has done it for years.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from sample.conditions import ALIVE
from sample.dives import Dive, slate_of
from sample.founding import Protocols
from sample.programme import LEAD, ROUNDS, SITES
from sample.slates import Row, Slate, Typed, typed
from sample.story import Story
from sample.wording import LIVE_TISSUE, SIZE, far_larger, far_less

TRAINING_DAY = date(2026, 10, 24)
PLOTS = (1,)


def training(story: Story, protocols: Protocols) -> list[Typed]:
    """The three slates as they were typed that afternoon."""
    newcomer, old_hand, answers = (
        _slate(story, protocols, who, device, hour)
        for who, device, hour in (("NL", "c", 10), ("RS", "a", 10), (LEAD.initials, "base", 11))
    )
    answers.head |= {"role": "lead"}
    living = [row for row in newcomer.rows if row.values["status"] == ALIVE]
    _take_for_bleached(living[0])
    _take_for_bleached(living[2])
    living[3].values[LIVE_TISSUE] = far_less(living[3].values[LIVE_TISSUE])
    newcomer.rows.remove(living[-1])  # swum past
    old = [row for row in old_hand.rows if row.values["status"] == ALIVE]
    old[1].values[SIZE] = far_larger(old[1].values[SIZE])
    return [typed(slate) for slate in (newcomer, old_hand, answers)]


def _slate(story: Story, protocols: Protocols, who: str, device: str, hour: int) -> Slate:
    dive = Dive(SITES[0], ROUNDS[-2], TRAINING_DAY, "1", device, who, "KT", PLOTS, (hour, 0))
    slate = slate_of(dive, story, protocols)
    head = {name: value for name, value in slate.head.items() if name != "round"} | {"practice": True}
    return replace(slate, name=f"training {TRAINING_DAY} {who}", head=head)


def _take_for_bleached(row: Row) -> None:
    """Growing tips are pale by nature: the slip of every newcomer. (Common practice, no source.)"""
    row.values["bleaching"] = "pale" if row.values["bleaching"] == "none" else "none"
