"""A series of tags in one line, as a planting day writes them: "B101-B110, G07" are ten tags and their genotype. Pure.

Words are parted by commas, semicolons and ends of lines. A word is a tag, a range of tags, or a genotype's accession; a
genotype is that of the tags before it, back to the genotype before. Nothing is guessed: what could be read in two ways is
refused with its reason, and the whole is shown before it is written.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from fieldkit.errors import Fault
from fieldkit.protocol.spelling import nearest
from fieldkit.register.names import folded

MOST = 500
"""Corals of one series: far more than a crew plants in a day (about 11 a dive with cement: Unsworth et al. 2021, Restor.
Ecol. 29: e13299, here through a second source). A range with a slip in it must not make a hundred thousand. Chosen by us."""
MAX_TAG = 40

_PARTING = re.compile(r"[,;\n]")
_DASH = re.compile(r"\s*[-\u2010-\u2015]\s*")
_END = re.compile(r"(\D*?)(\d{1,9})(\D*)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Tagged:
    """A coral to be: its tag as it will be written, and its genotype's id."""

    tag: str
    genotype: str


@dataclass(frozen=True, slots=True)
class Series:
    """What a line says; with faults it says nothing that may be written."""

    tagged: tuple[Tagged, ...]
    faults: tuple[Fault, ...]


def read_series(
    text: str, genotype: Callable[[str], str | None], accessions: Iterable[str], *, otherwise: str | None = None
) -> Series:
    """The tags of a series, each with its genotype.

    Args:
        genotype: the id of an accession, compared folded; None where there is none of that name.
        accessions: all of them, to offer.
        otherwise: the genotype of tags behind which none is named (that of the nursery lot they are from).
    """
    tagged: list[Tagged] = []
    faults: list[Fault] = []
    waiting: list[str] = []
    for word in (" ".join(part.split()) for part in _PARTING.split(text)):
        if not word:
            continue
        named = genotype(word)
        if named is None:
            found = _tags(word)
            if isinstance(found, Fault):
                faults.append(found)
            else:
                waiting += found
        elif waiting:
            tagged += [Tagged(tag, named) for tag in waiting]
            waiting = []
        elif not faults:
            faults.append(Fault("programme.genotype_of_none", {"word": word[:60]}))
        if len(tagged) + len(waiting) > MOST:
            return Series((), (*faults, Fault("programme.too_many_tags", {"most": MOST})))
    if waiting and otherwise is None:
        faults.append(_no_genotype(waiting[-1], accessions))
    elif waiting and otherwise is not None:
        tagged += [Tagged(tag, otherwise) for tag in waiting]
    faults += _twice(tagged)
    if not tagged and not faults:
        faults.append(Fault("programme.no_tags"))
    return Series(tuple(tagged), tuple(faults))


def _tags(word: str) -> list[str] | Fault:
    """The tags of a word: those of a range, or the word itself."""
    if len(word) > MAX_TAG:
        return Fault("programme.tag_too_long", {"word": word[:60], "most": MAX_TAG})
    for dash in _DASH.finditer(word):
        first, last = _END.fullmatch(word[: dash.start()]), _END.fullmatch(word[dash.end() :])
        if first and last:
            return _range(word, first.groups(), last.groups())
    return [word]


def _range(word: str, first: tuple[str, ...], last: tuple[str, ...]) -> list[str] | Fault:
    (before, start, after), (prefix, end, suffix) = first, last
    is_same = (folded(prefix), folded(suffix)) == (folded(before), folded(after))
    is_short = not prefix and not suffix and len(end) == len(start)  # "B101-110"
    if not is_same and not is_short:
        return Fault("programme.range_of_two", {"word": word})
    if (start.startswith("0") or end.startswith("0")) and len(start) != len(end):
        return Fault("programme.range_of_two", {"word": word})
    if int(end) <= int(start):
        return Fault("programme.range_backwards", {"word": word})
    if int(end) - int(start) >= MOST:
        return Fault("programme.too_many_tags", {"most": MOST})
    return [f"{before}{number:0{len(start)}d}{after}" for number in range(int(start), int(end) + 1)]


def _no_genotype(word: str, accessions: Iterable[str]) -> Fault:
    return Fault("programme.no_genotype_named", {"word": word, "known": nearest(word, accessions)})


def _twice(tagged: Iterable[Tagged]) -> list[Fault]:
    seen: set[str] = set()
    twice: dict[str, None] = {}
    for one in tagged:
        key = folded(one.tag)
        if key in seen:
            twice.setdefault(one.tag)
        seen.add(key)
    return [Fault("programme.tag_twice", {"tags": ", ".join(twice)})] if twice else []
