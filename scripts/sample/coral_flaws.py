"""Flaws of single rows: which coral it is, what was seen of it, and what the past says otherwise."""

from __future__ import annotations

from functools import partial

from sample.boat_day import DIVES
from sample.conditions import ALIVE, DEAD, MISSING, condition
from sample.fates import fate_of
from sample.programme import ROUNDS, Coral, identity, visit_day
from sample.slates import Row
from sample.spoiler import Spoiler, is_alive
from sample.wording import SIZE, point_lost

GLYPHS = (("B", "8"), ("0", "O"), ("1", "I"), ("5", "S"), ("6", "G"), ("8", "B"))
NOTES = ("Drupella ×3, 2½ cm – am Rand, ‘nagé’ à 4 m", "サンゴの縁に白い線", "algas en la placa; ¿etiqueta B?")


def mistaken_for_dead(spoiler: Spoiler) -> None:
    for row in spoiler.day.rows("a2", "a3"):
        if row.coral in spoiler.held.mistaken:
            spoiler.plant(
                "mistaken_for_dead",
                "history",
                "alive all along; bleached white at month 18, it was written down as dead",
                rows=(row,),
                entries=tuple(spoiler.held.mistaken[row.coral]),
                answer={"answer": "set_aside", "observation": spoiler.held.mistaken[row.coral][0].digest},
            )


def found_again(spoiler: Spoiler) -> None:
    for row in spoiler.day.rows(*(name for name in DIVES if DIVES[name].device != "c")):
        if row.coral and row.values["status"] == ALIVE and _status_before(row.coral) == MISSING:
            spoiler.used.add(row.coral)
            spoiler.plant("found_again", None, "missing at month 18, though alive; found again", rows=(row,))


def not_searched(spoiler: Spoiler) -> None:
    """The air ran out before the last corals of the dive."""
    for row in spoiler.day.slates["a2"].rows[-4:]:
        spoiler.used.add(row.single)
        row.values = {name: row.values[name] for name in ("plot", "tag", "line")} | {"searched": "no"}
        row.shots.clear()
        spoiler.plant("not_searched", None, "the dive ended before it was reached", rows=(row,))


def rows_swapped(spoiler: Spoiler) -> None:
    """Two neighbours' tags changed places on the slate: the one that died long ago seems alive."""
    row, other = spoiler.take_pair(_long_dead)
    spoiler.photograph(row)
    spoiler.photograph(other)
    row.values["tag"], other.values["tag"] = other.values["tag"], row.values["tag"]
    spoiler.plant(
        "rows_swapped", "history", "the tags of two neighbours changed places", rows=(row, other), answer={"answer": "swap"}
    )


def written_alive(spoiler: Spoiler) -> None:
    row = spoiler.take(spoiler.once(), _long_dead)
    model = next(one for one in spoiler.once() if one.values.get("status") == ALIVE)
    spoiler.photograph(row)
    kept = {name: row.values[name] for name in ("plot", "tag", "line")}
    row.values = {**model.values, **kept}
    answer = {"answer": "set_aside", "observation": row}
    spoiler.plant(
        "written_alive", "history", "dead since before month 18; the row above was copied", rows=(row,), answer=answer
    )


def misread_tags(spoiler: Spoiler) -> None:
    for true, read in GLYPHS:
        row = spoiler.take(spoiler.once(), partial(_may_hide, glyph=true))
        tag = row.values["tag"]
        head = "" if true == tag[0] else tag[0]
        _misread(spoiler, row, head + tag[len(head) :].replace(true, read, 1), f"{true} read as {read}")
    for _ in range(2):
        row = spoiler.take(spoiler.once(), lambda row: is_alive(row) and _swapped(row) not in spoiler.tags_of_plot(row))
        _misread(spoiler, row, _swapped(row), "figures swapped")
    row = spoiler.take(spoiler.once(), is_alive)
    row.values["tag_state"] = "partly_read"
    _misread(spoiler, row, row.values["tag"][:2] + "?" + row.values["tag"][3:], "one figure overgrown")


def read_twice(spoiler: Spoiler) -> None:
    """The diver looked at the same plate twice; the neighbour's was never read."""
    for _ in range(2):
        row, other = spoiler.take_pair(is_alive)
        other.values["tag"] = row.values["tag"]
        spoiler.photograph(other)
        answer = {"answer": "place", "observation": other, "coral": identity("coral", other.single.name)}
        spoiler.plant("read_twice", "tag", "one plate read for two corals", rows=(row, other), answer=answer)


def by_position(spoiler: Spoiler) -> None:
    """No flaw of the slate: the tag is gone, and the place in the ring says which coral it is."""
    for _ in range(3):
        row = spoiler.take(spoiler.once())
        row.values = {name: value for name, value in row.values.items() if name != "tag"}
        row.values |= {"position": str(row.single.position), "tag_state": "absent"}
        spoiler.plant("tag_lost", None, "the tag is gone; noted by its place in the ring", rows=(row,))


def unread(spoiler: Spoiler) -> None:
    for _ in range(2):
        row = spoiler.take(spoiler.once("a1", "b1"), is_alive)
        spoiler.slate(row).rows.remove(row)
        spoiler.plant("unread", None, "swum past: nobody read this coral", corals=(row.single,))


def implausible_sizes(spoiler: Spoiler) -> None:
    for slip, says in ((point_lost, "decimal point left out"), (_one_for_four, "1 typed as 4")):
        row = spoiler.take(spoiler.once(), lambda row: is_alive(row) and 10 <= float(row.values[SIZE]) < 20)
        true = row.values[SIZE]
        row.values[SIZE] = slip(true)
        spoiler.plant("implausible_size", "size", says, rows=(row,), answer={"answer": "use", "fields": {SIZE: true}})


def notes(spoiler: Spoiler) -> None:
    for words in NOTES:
        row = spoiler.take(spoiler.once(), is_alive)
        row.values["note"] = words
        spoiler.plant("note", None, "a note beyond ASCII", rows=(row,))


def _misread(spoiler: Spoiler, row: Row, noted: str, says: str) -> None:
    row.values["tag"] = noted
    spoiler.photograph(row)
    answer = {"answer": "place", "observation": row, "coral": identity("coral", row.single.name)}
    spoiler.plant("misread_tag", "tag", says, rows=(row,), answer=answer)


def _status_before(coral: Coral) -> str:
    """Its true state, as far as it could be seen, at month 18."""
    return condition(fate_of(coral), ROUNDS[-2], visit_day(coral.plot.site, ROUNDS[-2])).status


def _long_dead(row: Row) -> bool:
    return row.values.get("status") == DEAD and _status_before(row.single) == DEAD


def _may_hide(row: Row, glyph: str) -> bool:
    """Whether the glyph stands where it may be misread: a letter in front, a figure behind."""
    tag = str(row.values.get("tag", ""))
    return is_alive(row) and glyph in (tag[:1] if glyph.isalpha() else tag[1:])


def _swapped(row: Row) -> str:
    tag = str(row.values["tag"])
    return tag[:-2] + tag[-1] + tag[-2]


def _one_for_four(size: str) -> str:
    return f"{float(size) + 30:g}"
