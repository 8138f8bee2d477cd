"""The truth file: what became of every coral, what was planted on the last boat day, and the true survival.

Everything that a person or a program could get wrong with the sample has its right answer here, under the digests and ids of
the carry files, so that each rate can be scored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import timedelta
from typing import Any

from sample.boat_day import LAST_ROUND, BoatDay, Flaw
from sample.fates import Fate, chance_alive
from sample.past import Past
from sample.pictures import DRAWN_WITH
from sample.programme import LAST_DAY, NAME, ROUNDS, SEED, Coral, identity, visit_day
from sample.slates import Row, Slate, Typed
from sample.story import WITHDRAWN_IN, Story

AGES = {"P12M": 365, "P24M": 730}  # months of 365.25 / 12 days, rounded down


def truth(fates: Sequence[Fate], story: Story, held: Past, day: BoatDay, told: Mapping[str, Typed]) -> dict[str, Any]:
    """The whole truth, as JSON takes it."""
    digests = {row: entry.digest for one in told.values() for row, entry in one.entries.items()}
    sessions = {one.slate: one.log.id for one in told.values()}
    return {
        "programme": NAME,
        "seed": SEED,
        "drawn_with": DRAWN_WITH,
        "last_day": str(LAST_DAY),
        "corals": [_coral(fate, story) for fate in fates],
        "counted": [group for ring in story.rings.values() for group in _counted(ring)],
        "survival": survival(fates),
        "sessions": [_session(name, one) for name, one in told.items()],
        "observations": {digests[row]: _observation(row.coral, status) for row, status in day.truth.items() if row in digests},
        "flaws": [_flaw(flaw, digests, sessions) for flaw in day.flaws],
        "past": {
            "rulings": [entry.digest for entry in held.ruled],
            "mistaken": {identity("coral", coral.name): [e.digest for e in said] for coral, said in held.mistaken.items()},
        },
        "photos_withheld": sorted(day.withheld),
    }


def survival(fates: Sequence[Fate]) -> dict[str, Any]:
    """The true survival at 12 and 24 months over all followed plots, tagged and counted alike.

    `alive` and `share` count the corals that truly lived so long; `expected` is their mean chance by hazard and plot.
    """
    followed = [fate for fate in fates if fate.coral.plot.followed]
    return {
        "all": _share(followed),
        "site": _shares(followed, lambda fate: fate.coral.plot.site.code),
        "genotype": _shares(followed, lambda fate: fate.coral.genotype.accession),
        "method": _shares(followed, lambda fate: fate.coral.plot.method),
    }


def _shares(fates: Iterable[Fate], label: Callable[[Fate], str]) -> dict[str, Any]:
    groups: dict[str, list[Fate]] = {}
    for fate in fates:
        groups.setdefault(label(fate), []).append(fate)
    return {name: _share(group) for name, group in sorted(groups.items())}


def _share(fates: Sequence[Fate]) -> dict[str, Any]:
    found: dict[str, Any] = {"corals": len(fates)}
    for name, age in AGES.items():
        alive = sum(fate.is_alive(fate.coral.planted_on + timedelta(days=age)) for fate in fates)
        expected = sum(chance_alive(fate.coral.plot, fate.coral.genotype, age) for fate in fates)
        found[name] = {
            "alive": alive,
            "share": round(alive / len(fates), 4),
            "expected": round(expected / len(fates), 4),
        }
    return found


def _coral(fate: Fate, story: Story) -> dict[str, Any]:
    coral = fate.coral
    gone = coral in story.withdrawn
    return {
        "coral": identity("coral", coral.name) if coral.is_tagged else None,
        "tag": coral.tag,
        "new_tag": story.retagged.get(coral),
        "plot": coral.plot.name,
        "position": coral.position,
        "site": coral.plot.site.code,
        "followed": coral.plot.followed,
        "genotype": coral.genotype.accession,
        "method": coral.plot.method,
        "planted_on": str(coral.planted_on),
        "died_on": _day(fate.died_on),
        "cause": fate.cause,
        "out_of_place_from": _day(fate.left_on),
        "found_loose_in": LAST_ROUND.name if fate.found_loose else None,
        "withdrawn_in": WITHDRAWN_IN.name if gone else None,
    }


def _counted(ring: Sequence[Fate]) -> Iterator[dict[str, Any]]:
    """Of a counted plot, how many of each genotype truly lived on the day of each visit, found or not."""
    plot = ring[0].coral.plot
    for accession in sorted({fate.coral.genotype.accession for fate in ring if plot.recorded_as == "counted"}):
        group = [fate for fate in ring if fate.coral.genotype.accession == accession]
        days = [visit_day(plot.site, planned) for planned in ROUNDS]
        alive = {str(day): sum(fate.is_alive(day) for fate in group) for day in days}
        yield {"plot": plot.name, "genotype": accession, "planted": len(group), "alive": alive}


def _day(day: object) -> str | None:
    return None if day is None else str(day)


def _session(name: str, one: Typed) -> dict[str, Any]:
    return {
        "session": one.log.id,
        "slate": name,
        "device": one.slate.device,
        "day": str(one.slate.true_day),
        "site": identity("site", one.slate.true_site),
        "entries": len(one.log.entries),
    }


def _observation(coral: Coral | None, status: str) -> dict[str, Any]:
    return {"coral": identity("coral", coral.name) if coral else None, "status": status}


def _flaw(flaw: Flaw, digests: Mapping[Row, str], sessions: Mapping[Slate, str]) -> dict[str, Any]:
    return {
        "kind": flaw.kind,
        "matter": flaw.matter,
        "says": flaw.says,
        "of": [digests[row] for row in flaw.rows],
        "past": [entry.digest for entry in flaw.entries],
        "sessions": [sessions[slate] for slate in flaw.slates],
        "corals": [identity("coral", coral.name) for coral in flaw.corals if coral.is_tagged],
        "answer": None if flaw.answer is None else {key: _said(value, digests, sessions) for key, value in flaw.answer.items()},
    }


def _said(value: Any, digests: Mapping[Row, str], sessions: Mapping[Slate, str]) -> Any:
    if isinstance(value, Row):
        return digests[value]
    return sessions[value] if isinstance(value, Slate) else value
