"""Flaws of whole slates, of their photos, and of what came along with them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from sample.boat_day import CLOCK_OFF, LANTERN, PANDANUS, STILL_OUT
from sample.conditions import condition
from sample.programme import LAST_DAY, ROUNDS, Coral, identity, moment
from sample.slates import Row, Slate
from sample.spoiler import Spoiler, is_alive
from sample.wording import LIVE_TISSUE, SIZE, far_larger, far_less, group_fields


def typed_twice(spoiler: Spoiler) -> None:
    """A slate typed on one phone and, by somebody who did not know, on another; with two keying errors."""
    original = spoiler.day.slates["b3"]
    head = original.head | {"typed_by": "NL"}
    copy = replace(original, name=f"{original.name} again", device="c", head=head, opened_at=moment(LAST_DAY, 19), shots=[])
    copy.rows = [Row(row.coral, dict(row.values)) for row in original.rows]
    spoiler.day.truth |= {row: row.values["status"] for row in copy.rows}
    spoiler.day.slates["c6"] = copy
    keep = {"answer": "same_slate", "keep": original}
    spoiler.plant(
        "same_slate", "same_slate", "one paper slate typed on two phones", slates=(original, copy), answer=keep, corals=()
    )
    living = [row for row in copy.rows if is_alive(row)]
    for row, name, slip in ((living[3], SIZE, far_larger), (living[8], LIVE_TISSUE, far_less)):
        true = row.values[name]
        row.values[name] = slip(true)
        twin = original.rows[copy.rows.index(row)]
        answer = {"answer": "use", "fields": {name: true}}
        spoiler.plant("keying_error", None, f"{name} mistyped the second time", rows=(twin, row), answer=answer)


def wrong_days(spoiler: Spoiler) -> None:
    for name, day, says in (
        ("b2", date(2025, 11, 10), "the year mistyped"),
        ("a4", date(2026, 10, 11), "day and month swapped"),
    ):
        slate = spoiler.day.slates[name]
        slate.head["day"] = str(day)
        answer = {"answer": "day", "day": str(LAST_DAY)}
        spoiler.plant("wrong_date", "date", says, slates=(slate,), answer=answer, corals=_corals(slate))


def wrong_site(spoiler: Spoiler) -> None:
    slate = spoiler.day.slates["c4"]
    slate.head["site"] = identity("site", LANTERN.code)
    answer = {"answer": "site", "site": identity("site", PANDANUS.code)}
    spoiler.plant(
        "wrong_site", "site", "the morning's site left standing", slates=(slate,), answer=answer, corals=_corals(slate)
    )


def practice(spoiler: Spoiler) -> None:
    """A newcomer copies a slate to learn the page: outside every figure."""
    model = spoiler.day.slates["a1"]
    head = model.head | {"recorder": "NL", "typed_by": "NL", "practice": True}
    slate = replace(model, name="practice NL", device="c", head=head, opened_at=moment(LAST_DAY, 20), shots=[])
    slate.rows = [Row(row.coral, dict(row.values)) for row in model.rows[:6]]
    spoiler.day.slates["c7"] = slate
    spoiler.plant("practice", None, "a practice session: counts nowhere", slates=(slate,), corals=())


def halves(spoiler: Spoiler) -> None:
    """Buddies counted half of plot PAN-12 each."""
    parts = (spoiler.day.slates["b4"], spoiler.day.slates["c5"])
    for part, slate in enumerate(parts):
        mine = [fate for fate in spoiler.story.rings["PAN-12"] if (fate.coral.position - 1) // 12 == part]
        for row in slate.rows:
            if "genotype" in row.values:
                group = [fate for fate in mine if _genotype(fate.coral) == row.values["genotype"]]
                seen = [condition(fate, ROUNDS[-1], LAST_DAY) for fate in group]
                row.values |= {**group_fields(seen), "part": str(part + 1), "parts": "2"}
    spoiler.plant("halves", None, "a counted plot in two parts; they add up", slates=parts, corals=())


def photos_astray(spoiler: Spoiler) -> None:
    """One photo hung on two corals, the right one and its neighbour; one that is named and did not come along."""
    row, other = spoiler.take_pair(lambda row: is_alive(row) and bool(row.shots))
    other.shots[:] = row.shots
    spoiler.plant("photo_twice", None, "one photo hung on two corals; it shows the first", rows=(row, other))
    lost = spoiler.take(spoiler.once("b1"), lambda row: bool(row.shots))
    spoiler.day.withheld.add(lost.shots[0].digest)
    spoiler.plant("photo_missing", None, "a photo is named that did not come along", rows=(lost,))


def clocks(spoiler: Spoiler) -> None:
    """One camera kept the wrong time all day; the shot of the slate with a watch beside it tells by how much."""
    for name, slate in spoiler.day.slates.items():
        if slate.shots and (off := CLOCK_OFF.get(slate.device, timedelta(0))):
            answer = {"answer": "clock", "offset_s": str(-int(off.total_seconds()))}
            says = f"slate {name}: the camera's clock is off"
            spoiler.plant("clock_off", "photo_time", says, slates=(slate,), answer=answer, corals=())


def still_out(spoiler: Spoiler) -> None:
    code, number = STILL_OUT
    left = tuple(fate.coral for fate in spoiler.story.rings[f"{code}-{number:02d}"])
    spoiler.plant("still_out", None, f"the slate of {code}-{number:02d} lies in the boat", corals=left)


def _corals(slate: Slate) -> tuple[Coral, ...]:
    return tuple(dict.fromkeys(row.coral for row in slate.rows if row.coral))


def _genotype(coral: Coral) -> str:
    return identity("genotype", coral.genotype.accession)
