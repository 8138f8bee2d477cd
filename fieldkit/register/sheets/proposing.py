"""A mapping proposed from what a sheet holds, with the evidence beside it, for a person to look through and mend. Pure.

Headings are matched with what crews call their columns, and believed only where the cells below hold what they should. The
order of days follows from a day that can be read one way only. What the data leave open is left open, and asked.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from collections.abc import Mapping as Map
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.register.sheets.account import listed
from fieldkit.register.sheets.cells import state_words
from fieldkit.register.sheets.days import Day, NoDay, order_told, read_day
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.headings import labels
from fieldkit.register.sheets.layout import told_layout
from fieldkit.register.sheets.mapping import COUNTED, DAYS, FILE, NUMBER, ROLES, TAB, Mapping, Visit
from fieldkit.register.sheets.mapping import NOT_MEASURED as NO_MEASURE
from fieldkit.register.sheets.sheet import Cell, Row, Sheet, letter, shown
from fieldkit.register.sheets.vocabulary import (
    HEADINGS,
    NOT_MEASURED,
    STATES,
    TABS_WITHOUT_NAME,
    likely,
    meanings,
    plain_words,
)

_SEARCHED_ROWS = 50
_LOOKED_AT = 2_000
"""Rows from which the kind of a column is told: enough for any sheet of a season. Chosen by us."""
_EXAMPLES = 4
_MOST_WORDS = 40  # a column of more different words is no list of states
_MOSTLY = 0.6
_PER_VISIT = frozenset({"seen_on", "status", "size_cm", "live_tissue", "cause", "note", "recorder", "round"})
_NUMBERS = frozenset({"size_cm", "live_tissue", "age_days", *COUNTED})
_NUMBER = re.compile(r"-?\d{1,15}(?:[.,]\d{1,15})?\s*%?", re.ASCII)
_COMMA, _POINT = re.compile(r"\d,\d"), re.compile(r"\d\.\d")


@dataclass(frozen=True)
class SeenColumn:
    """A column of the sheet: its label, what stands in it, and what it probably holds.

    Attributes:
        name: ours; None: not taken.
        visit: which visit of a wide sheet it belongs to, from 0.
        examples: the first different values.
        filled: how many cells hold something, of those that were looked at.
    """

    label: str
    letter: str
    name: str | None
    visit: int | None
    examples: tuple[str, ...]
    filled: int


@dataclass(frozen=True)
class Proposal:
    """A mapping, what it rests on, and what is left to say.

    Attributes:
        columns: every column of the sheet, in order.
        words: the different words of the columns of states, and how often each stands there.
        open: questions that the data cannot answer.
    """

    mapping: Mapping
    heading_row: int
    columns: tuple[SeenColumn, ...]
    words: Map[str, int]
    open: tuple[Fault, ...]


@dataclass
class _Held:
    """What stands below a heading."""

    label: str
    cells: list[tuple[int, Cell]]

    def share(self, kind: str) -> float:
        fitting = sum(_is_day(cell) if kind == "day" else _is_number(cell) for _, cell in self.cells)
        return fitting / len(self.cells) if self.cells else 0.0

    def fits(self, name: str) -> bool:
        """Whether the cells may hold what goes by this name; blank ones may hold anything."""
        if not self.cells:
            return True
        if name in DAYS:
            return self.share("day") >= _MOSTLY
        if name in COUNTED:
            return self.share("number") >= _MOSTLY
        if name in _NUMBERS:
            return self.share("number") > 0.2  # words stand in columns of sizes
        return not (name == "status" and len(self.words()) > _MOST_WORDS)

    def words(self) -> Counter[str]:
        return Counter(shown(cell).strip() for _, cell in self.cells)


def propose(sheet: Sheet, protocol: Protocol) -> Proposal:
    """What the sheet's columns and words probably mean.

    Raises:
        SheetError: the sheet holds no table.
    """
    phrases = _phrases(protocol)
    heading = _heading_row(sheet, phrases)
    held = _held(sheet, heading)
    named, visits = _named(held, phrases)
    mapping = _mapping(sheet, held, named, visits, protocol)
    words = _state_words(mapping, held)
    mapping = replace(mapping, status=_states(words, mapping, protocol))
    return Proposal(
        mapping=mapping,
        heading_row=heading.number,
        columns=tuple(_column(place, one, named, visits) for place, one in enumerate(held)),
        words=words,
        open=tuple(_open(sheet, mapping, held, words)),
    )


def _phrases(protocol: Protocol) -> dict[str, list[str]]:
    """What a heading may say: our words, then the programme's own names and labels of its fields."""
    found = meanings(HEADINGS)
    ours = {role: name for name, role in ROLES.items()}
    for field in protocol.fields:
        name = ours.get(field.role or "", field.name)
        for phrase in {plain_words(text) for text in (field.name, *field.label.values(), *field.was)} - {""}:
            known = found.setdefault(phrase, [])
            if name not in known:
                known.append(name)
    return found


def _heading_row(sheet: Sheet, phrases: Map[str, list[str]]) -> Row:
    """The row that says most of what headings say; of several, the first."""

    def said(row: Row) -> tuple[int, int]:
        texts = [cell for cell in row.cells if isinstance(cell, str) and cell.strip() and not _is_number(cell)]
        known = sum(plain_words(text) in phrases for text in texts)
        return 3 * known + len({folded(text) for text in texts}) - (len(row.cells) - len(texts)), known

    rows = sheet.rows[:_SEARCHED_ROWS]
    if not rows:
        raise SheetError.of("sheets.empty", file=sheet.title)
    return max(rows, key=said)


def _held(sheet: Sheet, heading: Row) -> list[_Held]:
    below = [row for row in sheet.rows if row.number > heading.number and row.cells != heading.cells][:_LOOKED_AT]
    width = max((len(row.cells) for row in (heading, *below)), default=0)
    said = labels(sheet, heading)
    return [
        _Held(
            said[place] if place < len(said) and said[place] else f"[{letter(place)}]",
            [(row.number, cell) for row in below if (cell := row.cell(place)) != "" and shown(cell).strip()],
        )
        for place in range(width)
    ]


def _named(held: Sequence[_Held], phrases: Map[str, list[str]]) -> tuple[dict[int, str], dict[int, tuple[int, str]]]:
    """Place to our name; and place to the visit that its label tells of, with the words for it."""
    may_be = {place: [name for name in _meant(one.label, phrases) if one.fits(name)] for place, one in enumerate(held)}
    times = {place: _when(one.label, phrases) for place, one in enumerate(held)}
    wide = _side_by_side(may_be, times)
    taken: set[tuple[str, str]] = set()
    named: dict[int, str] = {}
    for place in sorted(may_be, key=lambda place: (plain_words(held[place].label) not in phrases, place)):
        visit = times[place] if place in wide else ""
        name = next((one for one in may_be[place] if (visit, one) not in taken and (not visit or one in _PER_VISIT)), None)
        if name is not None:
            taken.add((visit, name))
            named[place] = name
    order = list(dict.fromkeys(times[place] for place in sorted(wide)))
    return named, {place: (order.index(times[place]), times[place]) for place in wide if place in named}


def _side_by_side(may_be: Map[int, list[str]], times: Map[int, str]) -> set[int]:
    """The places of columns that hold one visit each of several: two labels say the same of different times."""
    first = {place: names[0] for place, names in may_be.items() if names and names[0] in _PER_VISIT and times[place]}
    told: dict[str, set[str]] = defaultdict(set)
    for place, name in first.items():
        told[name].add(times[place])
    several = {time for found in told.values() if len(found) > 1 for time in found}
    return {place for place in first if times[place] in several}


def _meant(label: str, phrases: Map[str, list[str]]) -> list[str]:
    """What a label may mean: by its own heading first, then by what stands above it."""
    over, _, own = label.rpartition(" / ")
    return list(
        dict.fromkeys((*phrases.get(plain_words(own), ()), *likely(own, phrases), *(likely(over, phrases) if over else ())))
    )


def _is_loose(label: str, phrases: Map[str, list[str]]) -> bool:
    return plain_words(label) not in phrases


def _when(label: str, phrases: Map[str, list[str]]) -> str:
    """The part of a label that tells one visit from another: a day, or a number; "" where there is none."""
    over, _, own = label.rpartition(" / ")
    if over:
        return over
    held = max((phrase for phrase in phrases if f" {phrase} " in f" {plain_words(own)} "), key=len, default="")
    rest = re.sub(re.escape(held), "", own, count=1, flags=re.IGNORECASE) if held else own
    rest = re.sub(r"\((?:cm|%)\)|\bcm\b|%", "", rest, flags=re.IGNORECASE).strip(" _-()[]:.#")
    return rest if any(letter.isdigit() for letter in rest) or isinstance(read_day(rest, None) if rest else None, Day) else ""


def _mapping(
    sheet: Sheet, held: Sequence[_Held], named: Map[int, str], visits: Map[int, tuple[int, str]], protocol: Protocol
) -> Mapping:
    columns = {name: (held[place].label,) for place, name in sorted(named.items()) if place not in visits}
    order = _date_order(held, named)
    found = Mapping(
        columns=columns,
        visits=_visits(held, named, visits, order),
        constants={} if "site" in columns else _site_constant(sheet),
        headings=tuple(one.label for one in held),
        date_order=order,
        decimal="," if _has_decimal_commas(held, named) else ".",
        words=_not_measured(held, named, protocol),
        fractions=tuple(
            name
            for place, name in named.items()
            if name == "live_tissue" and _holds_shares(held[place]) and place not in visits
        ),
    )
    if found.visits:
        return replace(found, layout="wide")
    try:
        return replace(found, layout=told_layout({*columns, *found.constants}, sheet.title))
    except SheetError:
        return found


def _visits(
    held: Sequence[_Held], named: Map[int, str], visits: Map[int, tuple[int, str]], order: str | None
) -> tuple[Visit, ...]:
    found: dict[int, tuple[str, dict[str, str]]] = {}
    for place, (visit, when) in sorted(visits.items()):
        _, columns = found.setdefault(visit, (when, {}))
        columns[named[place]] = held[place].label
    for _, columns in found.values():
        if "status" not in columns and "size_cm" in columns:
            columns["status"] = columns["size_cm"]
    return tuple(
        Visit("" if "seen_on" in columns or not isinstance(read_day(when, order), Day) else when, columns)
        for _, (when, columns) in sorted(found.items())
    )


def _site_constant(sheet: Sheet) -> dict[str, str]:
    return {"site": FILE if not sheet.name or TABS_WITHOUT_NAME.fullmatch(sheet.name.strip()) else TAB}


def _date_order(held: Sequence[_Held], named: Map[int, str]) -> str | None:
    """The order that some day of the sheet proves; None where none does, or where two contradict each other."""
    proved = _orders_proved(held, named)
    return next(iter(proved)) if len(proved) == 1 else None


def _orders_proved(held: Sequence[_Held], named: Map[int, str]) -> dict[str, list[int]]:
    proved: dict[str, list[int]] = defaultdict(list)
    for place, name in named.items():
        for row, cell in held[place].cells if name in DAYS else ():
            if isinstance(cell, str) and (order := order_told(cell)):
                proved[order].append(row)
    return proved


def _has_decimal_commas(held: Sequence[_Held], named: Map[int, str]) -> bool:
    texts = [
        cell for place, name in named.items() if name in _NUMBERS for _, cell in held[place].cells if isinstance(cell, str)
    ]
    return any(_COMMA.search(text) for text in texts) and not any(_POINT.search(text) for text in texts)


def _not_measured(held: Sequence[_Held], named: Map[int, str], protocol: Protocol) -> dict[str, dict[str, tuple[str, ...]]]:
    words: dict[str, set[str]] = defaultdict(set)
    for place, name in named.items():
        is_asked = name in ROLES and protocol.with_role(ROLES[name]) is not None
        for _, cell in held[place].cells if is_asked and name in ("size_cm", "live_tissue") else ():
            text = shown(cell).strip()
            if not _is_number(cell) and plain_words(text) in NOT_MEASURED:
                words[name].add(text)
    return {name: {NO_MEASURE: tuple(sorted(found))} for name, found in words.items() if found}


def _holds_shares(one: _Held) -> bool:
    numbers = [Decimal(shown(cell).replace(",", ".")) for _, cell in one.cells if _is_number(cell) and "%" not in shown(cell)]
    return bool(numbers) and max(numbers) <= 1 and any(0 < number < 1 for number in numbers)


def _state_words(mapping: Mapping, held: Sequence[_Held]) -> dict[str, int]:
    """The different words of the columns of states; numbers are left out where a size stands there too."""
    by_label = {one.label: one for one in held}
    found: Counter[str] = Counter()
    for columns in ({name: texts[0] for name, texts in mapping.columns.items()}, *(visit.columns for visit in mapping.visits)):
        if "status" in columns:
            has_sizes = columns["status"] == columns.get("size_cm")
            for word, n in by_label[columns["status"]].words().items():
                if not (has_sizes and _NUMBER.fullmatch(word) and not _is_zero(word)):
                    found[word] += n
    return dict(found.most_common(_MOST_WORDS))


def _is_zero(word: str) -> bool:
    return not word.strip("0.,")


def _states(words: Map[str, int], mapping: Mapping, protocol: Protocol) -> dict[str, tuple[str, ...]]:
    """What the words of states certainly mean; the rest is asked."""
    known = meanings(STATES)
    own = state_words(protocol)
    found: dict[str, list[str]] = defaultdict(list)
    for word in words:
        meant = known.get(plain_words(word)) if "?" not in word else None
        state = meant[0] if meant else own.get(folded(word))
        if state is not None:
            found[state].append(word)
    if any(visit.columns.get("status") == visit.columns.get("size_cm", "") for visit in mapping.visits):
        found["alive"].append(NUMBER)
    return {state: tuple(listed_) for state, listed_ in found.items()}


def _column(place: int, one: _Held, named: Map[int, str], visits: Map[int, tuple[int, str]]) -> SeenColumn:
    visit = visits.get(place)
    return SeenColumn(
        one.label,
        letter(place),
        named.get(place),
        None if visit is None else visit[0],
        tuple(list(one.words())[:_EXAMPLES]),
        len(one.cells),
    )


def _open(sheet: Sheet, mapping: Mapping, held: Sequence[_Held], words: Map[str, int]) -> Iterable[Fault]:
    place = {"file": sheet.title}
    named = {place_: name for place_, one in enumerate(held) for name, texts in mapping.columns.items() if one.label in texts}
    named |= {
        place_: name
        for place_, one in enumerate(held)
        for visit in mapping.visits
        for name, text in visit.columns.items()
        if one.label == text and name == "seen_on"
    }
    if "tag" not in mapping.columns and "position" not in mapping.columns and mapping.layout != "counts":
        yield Fault("sheets.open_tag", place)
    proved = _orders_proved(held, named)
    if len(proved) > 1:
        rows = {f"rows_{order}": listed(found) for order, found in proved.items()}
        yield Fault("sheets.open_mixed_order", {**place, "rows_dmy": "-", "rows_mdy": "-", **rows})
    elif not proved and any(_is_ambiguous(cell) for at, name in named.items() if name in DAYS for _, cell in held[at].cells):
        yield Fault("sheets.open_order", place)
    explained = {folded(word) for listed_ in mapping.status.values() for word in listed_}
    for word, n in words.items():
        if folded(word) not in explained:
            yield Fault("sheets.open_status", {**place, "value": word, "n": n})
    for number, visit in enumerate(mapping.visits, 1):
        if not visit.seen_on and "seen_on" not in visit.columns:
            yield Fault("sheets.open_visit_day", {**place, "visit": str(number), "columns": ", ".join(visit.columns.values())})
    if mapping.layout is None:
        yield Fault("sheets.open_layout", place)


def _is_ambiguous(cell: Cell) -> bool:
    found = read_day(cell, None) if isinstance(cell, str) and cell.strip() else None
    return isinstance(found, NoDay) and found.why == "day_order_unknown"


def _is_day(cell: Cell) -> bool:
    if isinstance(cell, date):
        return True
    text = shown(cell).strip()
    found = read_day(text, None) if text else NoDay("no_day")
    return isinstance(found, Day) or found.why == "day_order_unknown"


def _is_number(cell: Cell) -> bool:
    return isinstance(cell, Decimal) or (isinstance(cell, str) and _NUMBER.fullmatch(cell.strip()) is not None)
