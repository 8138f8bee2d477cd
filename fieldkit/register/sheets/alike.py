"""Spellings that may be one name: a zero for an O, `P1` for `P01`, a Cyrillic В, `Jons` for `Jon's Reef`. Pure.

Two tags of a plot that look alike are two corals where both were seen on one day, or where each has a row of its own; else
nobody but the crew can tell, and the rows of the rarer spelling are refused until the mapping file says which it is.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from difflib import SequenceMatcher
from itertools import combinations

from fieldkit.register.names import folded
from fieldkit.register.sheets.things import Names, Placed

# Letters typed for the figures that they look like; and letters of other alphabets that cannot be told from ours by eye
# (Unicode UTS 39, confusables; from memory). Figures are not taken for each other: B11 and B17 are two corals of any plot.
_LIKE = str.maketrans("oilszавекмнорстухαβεζηικμνορτυχ", "01152abekmhopctyxabezhikmnoptyx")
_LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")
_APART = re.compile(r"[\W_]+")
_CLOSE = 0.85
"""Share of letters in which two names of a place agree that are asked about. Chosen by us."""
_SHORTEST = 4


def glyphs(tag: str) -> str:
    """A tag without what is easily typed otherwise: marks, leading zeros, letters that look like figures."""
    plain = _APART.sub("", folded(tag)).translate(_LIKE).translate(_LIKE)
    return _LEADING_ZEROS.sub("", plain)


def refuse_alike(placed: Sequence[Placed], names: Names, *, row_is_coral: bool) -> list[Placed]:
    """Refuse the rows of tags that may be another tag of their plot, misspelt; gives these rows.

    Args:
        row_is_coral: in the layout at hand two rows are two corals, whatever they are called.
    """
    rows: dict[tuple[str, str], dict[str, list[Placed]]] = defaultdict(lambda: defaultdict(list))
    for one in placed:
        if one.line.tag is not None:
            rows[one.plot, glyphs(one.line.tag)][folded(one.line.tag)].append(one)
    refused: list[Placed] = []
    for (plot, looks), spelt in rows.items():
        for tag in names.tags(plot):
            if glyphs(tag) == looks:
                spelt.setdefault(folded(tag), [])
        if len(spelt) > 1:
            known = {folded(tag) for tag in names.tags(plot)}
            if known & spelt.keys() or not row_is_coral:
                refused += _refuse(spelt, known)
    return refused


def _refuse(spelt: dict[str, list[Placed]], known: set[str]) -> Iterable[Placed]:
    """Of spellings that look alike, the one that the base knows stands, or the one of most rows; the rest is not sure."""
    stands = max(spelt, key=lambda tag: (tag in known, len(spelt[tag]), -min((one.line.row for one in spelt[tag]), default=0)))
    for tag, rows in spelt.items():
        if tag != stands and tag not in known and not _are_two(rows, spelt[stands]):
            for one in rows:
                if not _is_explained(one):
                    other = spelt[stands][0].line.tag if spelt[stands] else stands
                    one.line.cells.refuse("tag", "tag_alike", other=other)
                    yield one


def _are_two(some: Sequence[Placed], others: Sequence[Placed]) -> bool:
    return bool(_days(some) & _days(others)) or any(not one.line.seen for one in (*some, *others))


def _days(rows: Iterable[Placed]) -> set[str]:
    return {seen.day.day.isoformat() for one in rows for seen in one.line.seen}


def _is_explained(one: Placed) -> bool:
    return folded(one.line.tag or "") in one.line.cells.rules.same.get("tag", ())


def close_names(names: Iterable[str], explained: Iterable[str]) -> list[tuple[str, str]]:
    """Pairs of places that may be one, misspelt: all letters agree but a few, or one goes on where the other ends."""
    settled = set(explained)
    known = sorted({folded(name): name for name in names}.values())
    return [
        (one, other)
        for one, other in combinations(known, 2)
        if _is_close(_APART.sub("", folded(one)), _APART.sub("", folded(other))) and not {folded(one), folded(other)} <= settled
    ]


def _is_close(one: str, other: str) -> bool:
    if one == other:
        return True
    short, long = sorted((one, other), key=len)
    goes_on = len(short) >= _SHORTEST and long.startswith(short) and not long[len(short)].isdigit()
    is_alike = re.findall(r"\d+", one) == re.findall(r"\d+", other) and min(len(one), len(other)) >= _SHORTEST
    return goes_on or (is_alike and SequenceMatcher(None, one, other).ratio() >= _CLOSE)
