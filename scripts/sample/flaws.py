"""What goes wrong between the reef and the base, planted one by one, each with its true answer.

Every flaw is of a kind that crews know; none falls on a coral that already has one, so that each can be scored alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from sample.boat_day import CLOCK_OFF, DIVES, LANTERN, PANDANUS, STILL_OUT, BoatDay, Flaw, photograph
from sample.conditions import ALIVE, DEAD, MISSING, Condition, condition
from sample.dice import stream
from sample.fates import fate_of
from sample.past import Past
from sample.programme import LAST_DAY, ROUNDS, SEED, Coral, identity, moment, visit_day
from sample.slates import Row, Slate
from sample.story import Story
from sample.wording import BLEACHING, LIVE_TISSUE, SIZE, coral_fields, group_fields

SINGLES = ("a1", "a2", "b1")  # slates on which single rows are spoilt
DOUBLED = (("a1", "c1"), ("b1", "c1"), ("a2", "c2"), ("a3", "c3"))  # first and second reading of the same plots
GLYPHS = (("B", "8"), ("0", "O"), ("1", "I"), ("5", "S"), ("6", "G"), ("8", "B"))


class Spoiler:
    """Spoils a boat day, row by row; keeps account of the corals that already have a flaw."""

    def __init__(self, day: BoatDay, story: Story, held: Past) -> None:
        self.day, self.story, self.held = day, story, held
        self.used: set[Coral] = {*story.taken_for_dead, *story.retagged}
        self.dice = stream(SEED, "flaws")
        self.twice = {row.coral for _, again in DOUBLED for row in day.rows(again)}

    def take(self, rows: list[Row], fits: Callable[[Row], bool] = lambda _: True) -> Row:
        """One of the rows whose coral has no flaw yet, by chance."""
        free = [row for row in rows if row.coral and row.coral not in self.used and fits(row)]
        row = self.dice.choice(free)
        self.used |= {row.coral} if row.coral else set()
        return row

    def once(self, *names: str) -> list[Row]:
        """Rows of corals that only one session observed."""
        return [row for row in self.day.rows(*(names or SINGLES)) if row.coral not in self.twice]

    def slate(self, row: Row) -> Slate:
        return next(slate for slate in self.day.slates.values() if row in slate.rows)

    def photograph(self, row: Row) -> None:
        """Make sure that a photo shows what the row should have said."""
        slate = self.slate(row)
        photograph(next(name for name, one in self.day.slates.items() if one is slate), slate, row, self.story)

    def neighbour(self, row: Row, status: str) -> Row | None:
        """The next row of the same plot, if it has that state and no flaw yet."""
        rows = self.slate(row).rows
        after = rows[rows.index(row) + 1 :][:1]
        return next((one for one in after if self._is_free_beside(one, row, status)), None)

    def _is_free_beside(self, one: Row, row: Row, status: str) -> bool:
        same_plot = one.values["plot"] == row.values["plot"]
        free = one.coral not in self.used and one.coral not in self.twice and "tag" in one.values
        return same_plot and free and one.values.get("status") == status

    def tags_of_plot(self, row: Row) -> set[str | None]:
        return {self.story.tag(fate.coral) for fate in self.story.rings[row.coral.plot.name]} if row.coral else set()

    def doubles(self) -> list[tuple[Row, Row]]:
        """The two readings of each coral that two recorders took."""
        pairs = []
        for first, again in DOUBLED:
            of = {row.coral: row for row in self.day.rows(first)}
            pairs += [(of[row.coral], row) for row in self.day.rows(again) if row.coral in of]
        return pairs

    def take_double(self, status: str) -> tuple[Row, Row]:
        firsts = {pair[0]: pair for pair in self.doubles()}
        return firsts[self.take(list(firsts), lambda row: row.values.get("status") == status)]

    def plant(self, kind: str, matter: str | None, says: str, **of: Any) -> None:
        rows = of.get("rows", ())
        corals = of.pop("corals", tuple(dict.fromkeys(row.coral for row in rows if row.coral)))
        self.day.flaws.append(Flaw(kind, matter, says, corals=corals, **of))


def spoil(day: BoatDay, story: Story, held: Past) -> None:
    """Plant every flaw; changes the day's slates in place and names each flaw in `day.flaws`."""
    spoiler = Spoiler(day, story, held)
    for plant in (
        mistaken_for_dead, found_again, not_searched, rows_swapped, written_alive, misread_tags, read_twice, by_position,
        implausible_sizes, unread, doubles_of_state, doubles_of_measures, notes, doubles_that_agree,
        typed_twice, wrong_days, wrong_site, practice, halves, photos, still_out,
    ):  # fmt: skip
        plant(spoiler)


# States that contradict the past


def mistaken_for_dead(spoiler: Spoiler) -> None:
    for row in spoiler.day.rows("a2", "a3"):
        if row.coral in spoiler.held.mistaken:
            spoiler.plant(
                "mistaken_for_dead",
                "history",
                "alive all along; bleached white at month 18, it was written down as dead",
                rows=(row,),
                entries=tuple(spoiler.held.mistaken[row.coral]),
                answer={"answer": "use", "fields": {"status": ALIVE}, "of": "entries"},
            )


def found_again(spoiler: Spoiler) -> None:
    for row in spoiler.day.rows(*(name for name in DIVES if DIVES[name].device != "c")):
        if row.coral and row.values["status"] == ALIVE and _status_before(row.coral) == MISSING:
            spoiler.used.add(row.coral)
            spoiler.plant("found_again", None, "missing at month 18, though alive; found again", rows=(row,))


def rows_swapped(spoiler: Spoiler) -> None:
    """Two neighbours' tags changed places on the slate: the one that died long ago seems alive."""
    row = spoiler.take(spoiler.once(), lambda row: _long_dead(row) and spoiler.neighbour(row, ALIVE) is not None)
    other = spoiler.neighbour(row, ALIVE)
    assert other is not None and other.coral is not None  # the row was chosen for having one
    spoiler.used.add(other.coral)
    row.values["tag"], other.values["tag"] = other.values["tag"], row.values["tag"]
    spoiler.plant(
        "rows_swapped", "history", "the tags of two neighbours changed places", rows=(row, other), answer={"answer": "swap"}
    )


def written_alive(spoiler: Spoiler) -> None:
    row = spoiler.take(spoiler.once(), _long_dead)
    model = next(one for one in spoiler.once() if one.values.get("status") == ALIVE)
    kept = {name: row.values[name] for name in ("plot", "tag", "line")}
    row.values = {**model.values, **kept}
    answer = {"answer": "use", "fields": {"status": DEAD}}
    spoiler.plant(
        "written_alive", "history", "dead since before month 18; the row above was copied", rows=(row,), answer=answer
    )


# Which coral?


def misread_tags(spoiler: Spoiler) -> None:
    for true, read in GLYPHS:
        row = spoiler.take(spoiler.once(), lambda row, true=true: _is_alive(row) and true in _hideable(row, true))
        tag = row.values["tag"]
        head = "" if true == tag[0] else tag[0]
        _misread(spoiler, row, head + tag[len(head) :].replace(true, read, 1), f"{true} read as {read}")
    for _ in range(2):
        row = spoiler.take(spoiler.once(), lambda row: _is_alive(row) and _swapped(row) not in spoiler.tags_of_plot(row))
        _misread(spoiler, row, _swapped(row), "figures swapped")
    row = spoiler.take(spoiler.once(), _is_alive)
    row.values["tag_state"] = "partly_read"
    _misread(spoiler, row, row.values["tag"][:2] + "?" + row.values["tag"][3:], "one figure overgrown")


def read_twice(spoiler: Spoiler) -> None:
    """The diver looked at the same plate twice; the neighbour's was never read."""
    for _ in range(2):
        row = spoiler.take(spoiler.once(), lambda row: _is_alive(row) and spoiler.neighbour(row, ALIVE) is not None)
        other = spoiler.neighbour(row, ALIVE)
        assert other is not None and other.coral is not None
        spoiler.used.add(other.coral)
        other.values["tag"] = row.values["tag"]
        spoiler.photograph(other)
        answer = {"answer": "place", "observation": other, "coral": identity("coral", other.coral.name)}
        spoiler.plant("read_twice", "tag", "one plate read for two corals", rows=(row, other), answer=answer)


def by_position(spoiler: Spoiler) -> None:
    """No flaw of the slate: the tag is gone, and the place in the ring says which coral it is."""
    for _ in range(3):
        row = spoiler.take(spoiler.once())
        assert row.coral is not None
        row.values = {name: value for name, value in row.values.items() if name != "tag"}
        row.values |= {"position": str(row.coral.position), "tag_state": "absent"}
        spoiler.plant("tag_lost", None, "the tag is gone; noted by its place in the ring", rows=(row,))


def unread(spoiler: Spoiler) -> None:
    for _ in range(2):
        row = spoiler.take(spoiler.once("a1", "b1"), _is_alive)
        spoiler.slate(row).rows.remove(row)
        spoiler.plant("unread", None, "swum past: nobody read this coral", corals=(row.coral,))


# What was seen of it?


def implausible_sizes(spoiler: Spoiler) -> None:
    for slip, says in ((_comma_lost, "decimal point left out"), (_one_for_four, "1 typed as 4")):
        row = spoiler.take(spoiler.once(), lambda row: _is_alive(row) and 10 <= float(row.values[SIZE]) < 20)
        true = row.values[SIZE]
        row.values[SIZE] = slip(true)
        spoiler.plant("implausible_size", "size", says, rows=(row,), answer={"answer": "use", "fields": {SIZE: true}})


def doubles_of_state(spoiler: Spoiler) -> None:
    """Two recorders, one coral, two states; the first or the second of them wrong."""
    for truth, wrong, second_errs in ((ALIVE, MISSING, True), (ALIVE, DEAD, True), (DEAD, ALIVE, False), (DEAD, MISSING, True)):
        first, again = spoiler.take_double(truth)
        erring = again if second_errs else first
        kept = {name: erring.values[name] for name in ("coral", "plot", "tag", "line") if name in erring.values}
        erring.values = kept | coral_fields(_mistake(wrong, erring))
        answer = {"answer": "use", "fields": {"status": truth}}
        spoiler.plant("double_state", "double", f"{truth}; one recorder wrote {wrong}", rows=(first, again), answer=answer)


def doubles_of_measures(spoiler: Spoiler) -> None:
    changes: tuple[tuple[str, Callable[[str], str]], ...] = (
        *((SIZE, _far_larger),) * 3,
        *((LIVE_TISSUE, _far_less),) * 3,
        *((BLEACHING, _other_class),) * 2,
    )
    for name, change in changes:
        first, again = spoiler.take_double(ALIVE)
        true = first.values[name]
        again.values[name] = change(true)
        answer = {"answer": "use", "fields": {name: true}}
        spoiler.plant("double_measure", "double", f"{name}: the second recorder is off", rows=(first, again), answer=answer)


def doubles_that_agree(spoiler: Spoiler) -> None:
    for pair in spoiler.doubles():
        if pair[0].coral not in spoiler.used:
            spoiler.plant("double_agrees", None, "two recorders, within the tolerance", rows=pair)


def notes(spoiler: Spoiler) -> None:
    for words in ("Drupella ×3, 2½ cm – am Rand, ‘nagé’ à 4 m", "サンゴの縁に白い線", "algas en la placa; ¿etiqueta B?"):
        row = spoiler.take(spoiler.once(), _is_alive)
        row.values["note"] = words
        spoiler.plant("note", None, "a note beyond ASCII", rows=(row,))


def not_searched(spoiler: Spoiler) -> None:
    """The air ran out before the last corals of the dive."""
    for row in spoiler.day.slates["a2"].rows[-4:]:
        assert row.coral is not None
        spoiler.used.add(row.coral)
        row.values = {name: row.values[name] for name in ("plot", "tag", "line")} | {"searched": "no"}
        row.shots.clear()
        spoiler.plant("not_searched", None, "the dive ended before it was reached", rows=(row,))


# Whole slates


def typed_twice(spoiler: Spoiler) -> None:
    """A slate typed on one phone and, by somebody who did not know, on another; with two keying errors."""
    original = spoiler.day.slates["b3"]
    head = original.head | {"typed_by": "NL"}
    copy = replace(original, name=f"{original.name} again", device="c", head=head, opened_at=moment(LAST_DAY, 19), shots=[])
    copy.rows = [Row(row.coral, dict(row.values)) for row in original.rows]
    spoiler.day.slates["c6"] = copy
    keep = {"answer": "same_slate", "keep": original}
    spoiler.plant(
        "same_slate", "same_slate", "one paper slate typed on two phones", slates=(original, copy), answer=keep, corals=()
    )
    living = [row for row in copy.rows if row.values.get("status") == ALIVE]
    for row, name, slip in ((living[3], SIZE, _far_larger), (living[8], LIVE_TISSUE, _far_less)):
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
        mine = {fate.coral: fate for fate in spoiler.story.rings["PAN-12"] if (fate.coral.position - 1) // 12 == part}
        seen = {coral: condition(fate, ROUNDS[-1], LAST_DAY) for coral, fate in mine.items()}
        for row in slate.rows:
            if "genotype" in row.values:
                group = [
                    one
                    for coral, one in seen.items()
                    if identity("genotype", coral.genotype.accession) == row.values["genotype"]
                ]
                row.values |= {**group_fields(group), "part": str(part + 1), "parts": "2"}
    spoiler.plant("halves", None, "a counted plot in two parts; they add up", slates=parts, corals=())


def photos(spoiler: Spoiler) -> None:
    rows = spoiler.day.slates["a1"].rows
    number = next(i for i, row in enumerate(rows) if row.shots and row.coral not in spoiler.used and not rows[i + 1].shots)
    rows[number + 1].shots.append(rows[number].shots[0])
    pair = (rows[number], rows[number + 1])
    spoiler.plant("photo_twice", None, "one photo hung on two corals; it shows the first", rows=pair)
    lost = next(row for row in spoiler.day.slates["b1"].rows if row.shots and row.coral not in spoiler.used)
    spoiler.day.withheld.add(lost.shots[0].digest)
    spoiler.plant("photo_missing", None, "a photo is named that did not come along", rows=(lost,))
    for name, slate in spoiler.day.slates.items():
        if slate.shots and (off := CLOCK_OFF.get(slate.device, timedelta(0))):
            answer = {"answer": "clock", "offset_s": str(-int(off.total_seconds()))}
            says = f"slate {name}: the camera's clock is off"
            spoiler.plant("clock_off", "photo_time", says, slates=(slate,), answer=answer, corals=())


def still_out(spoiler: Spoiler) -> None:
    code, number = STILL_OUT
    left = tuple(fate.coral for fate in spoiler.story.rings[f"{code}-{number:02d}"])
    spoiler.plant("still_out", None, f"the slate of {code}-{number:02d} lies in the boat", corals=left)


# Slips of the hand and the eye


def _misread(spoiler: Spoiler, row: Row, noted: str, says: str) -> None:
    assert row.coral is not None
    row.values["tag"] = noted
    spoiler.photograph(row)
    answer = {"answer": "place", "observation": row, "coral": identity("coral", row.coral.name)}
    spoiler.plant("misread_tag", "tag", says, rows=(row,), answer=answer)


def _is_alive(row: Row) -> bool:
    return row.values.get("status") == ALIVE


def _status_before(coral: Coral) -> str:
    """Its true state, as far as it could be seen, at month 18."""
    return condition(fate_of(coral), ROUNDS[-2], visit_day(coral.plot.site, ROUNDS[-2])).status


def _long_dead(row: Row) -> bool:
    return row.coral is not None and row.values.get("status") == DEAD and _status_before(row.coral) == DEAD


def _hideable(row: Row, true: str) -> str:
    """The part of a tag in which a glyph may be misread: the letter in front, or the figures."""
    tag = str(row.values.get("tag", ""))
    return tag[:1] if true.isalpha() else tag[1:]


def _swapped(row: Row) -> str:
    tag = str(row.values["tag"])
    return tag[:-2] + tag[-1] + tag[-2]


def _mistake(wrong: str, row: Row) -> Condition:
    if wrong == DEAD:
        return Condition(DEAD, attachment="solid", cause="unknown")
    if wrong == MISSING:
        return Condition(MISSING)
    assert row.coral is not None
    return Condition(ALIVE, "solid", live_tissue=10, bleaching="none", size_cm=row.coral.size_cm)


def _comma_lost(size: str) -> str:
    return f"{float(size) * 10:g}"


def _one_for_four(size: str) -> str:
    return f"{float(size) + 30:g}"


def _far_larger(size: str) -> str:
    return f"{float(size) + 6:g}"


def _far_less(live: str) -> str:
    return str(max(5, int(live) - 40))


def _other_class(bleaching: str) -> str:
    return "partly" if bleaching in ("none", "pale") else "none"


def _corals(slate: Slate) -> tuple[Coral, ...]:
    return tuple(dict.fromkeys(row.coral for row in slate.rows if row.coral))
