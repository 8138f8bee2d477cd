"""One row's cells, read by what they are to hold: names, days, numbers, words. What cannot be read refuses the row. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable
from collections.abc import Mapping as Map
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal

from fieldkit.errors import Fault
from fieldkit.protocol import Field, Protocol, understand
from fieldkit.protocol.spelling import nearest
from fieldkit.register.names import folded
from fieldkit.register.sheets.account import Refused
from fieldkit.register.sheets.days import Day, NoDay, looks_eaten, read_day
from fieldkit.register.sheets.headings import Column
from fieldkit.register.sheets.mapping import NOT_MEASURED, NUMBER, ROLES, STATUSES, Mapping
from fieldkit.register.sheets.sheet import Cell, Row, Sheet, Unknown, shown

MAX_NAME = 200
MAX_ROW_BYTES = 4096
"""Of all texts of a row. An entry holds 16 KiB, and JSON may write one byte as two. Chosen by us."""
FIRST_DAY = date(1950, 1, 1)  # before anybody outplanted corals: an earlier year is a slip of the pen

Of = Literal["coral", "count"]
Said = tuple[tuple[str, Any], ...]
NOT_SEARCHED, NOT_READ = "not_searched", "not_read"
_IDENTITY = frozenset({"plot", "position", "tag", "genotype"})
_NUMBER = re.compile(r"-?(?:\d{1,15}(?:\.\d{1,15})?|\.\d{1,15})", re.ASCII)
_OTHER_MARK = {".": re.compile(r"-?[\d.]*,[\d.,]*"), ",": re.compile(r"-?[\d,]*\.[\d.,]*")}
_COUNT = re.compile(r"(\d{1,6})(?:\.0+)?", re.ASCII)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_YES, _NO = frozenset({"yes", "y", "true", "sí", "si", "s"}), frozenset({"no", "n", "false"})
_LIST_MARK = re.compile(r"[;,+/]")
_SHOWN = 60


class Rules:
    """How the cells of one import are read: the mapping's words, the protocol's fields, the last day that can have been."""

    def __init__(self, mapping: Mapping, protocol: Protocol, today: date) -> None:
        self.protocol = protocol
        self.today = today
        self._blank = frozenset(folded(word) for word in mapping.blank)
        self.decimal = mapping.decimal
        self.rounds = {folded(round_.name): round_.name for round_ in protocol.rounds}
        self.day: Callable[[str], Day | NoDay] = lru_cache(65_536)(lambda text: read_day(text, mapping.date_order))
        # Most rows of a sheet say what others have said: a hundred thousand of them hold some thousand combinations.
        self.faults: Callable[[Of, Said], tuple[Fault, ...]] = lru_cache(65_536)(
            lambda of, said: understand(protocol, of, dict(said)).faults
        )
        self._roles = {name: protocol.with_role(role) for name, role in ROLES.items()}
        self._explained = mapping.words
        self.not_measured = {
            name: frozenset(map(folded, meant[NOT_MEASURED])) for name, meant in mapping.words.items() if NOT_MEASURED in meant
        }
        self.fractions = frozenset(mapping.fractions)
        self.same = {name: _spellings(names) for name, names in mapping.same.items()}
        self.joined = mapping.joined
        self._words: dict[str, dict[str, str]] = {}
        self.statuses = _status_words(mapping, protocol.with_role("status"))
        self.any_number = self.statuses.pop(folded(NUMBER), None)

    def is_blank(self, cell: Cell) -> bool:
        return isinstance(cell, str) and (not cell or cell.isspace() or (bool(self._blank) and folded(cell) in self._blank))

    def field(self, name: str, of: Of = "coral") -> Field | None:
        """The protocol's field that a column of this name fills."""
        if of == "coral" and name in ROLES:
            return self._roles[name]
        return next((field for field in self.protocol.fields_of(of) if field.name == name), None)

    def words(self, name: str, field: Field) -> dict[str, str]:
        """Folded word to value: the values, and the mapping's words for them, or the protocol's where it has none."""
        if name not in self._words:
            words = _folded_words(self._explained[name]) if name in self._explained else _protocol_words(field)
            self._words[name] = {folded(choice.value): choice.value for choice in field.values} | words
        return self._words[name]


class View:
    """Where the cells of one observation stand in every row: once a sheet, or once a visit where visits stand side by side."""

    def __init__(self, sheet: Sheet, columns: Map[str, Column], constants: Map[str, str], rules: Rules, of: Of) -> None:
        self.sheet = sheet
        self.columns = columns
        self.constants = constants
        self.rules = rules
        self.of = of
        self.places = {name: column.place for name, column in columns.items()}
        self.split = {name: (column.place, *column.more) for name, column in columns.items() if column.more}
        self.named = frozenset({*columns, *constants})
        self.fields = tuple(
            (name, field)
            for name in (*columns, *constants)
            if name != "status" and (field := rules.field(name, of)) is not None
        )
        # A column of sizes in which words stand for states: "8.5", "dead".
        status = columns.get("status")
        self.beside_states = frozenset(
            name for name, column in columns.items() if status is not None and name != "status" and column.place == status.place
        )


class Cells:
    """The cells of one row, by our names. Reading notes what is wrong; a row with anything in `refused` is not taken."""

    __slots__ = ("columns", "refused", "row", "rules", "view")

    def __init__(self, row: Row, view: View, refused: list[Refused] | None = None) -> None:
        self.row = row
        self.columns = view.columns
        self.rules = view.rules
        self.view = view
        self.refused: list[Refused] = [] if refused is None else refused

    def raw(self, name: str) -> Cell:
        view, cells = self.view, self.row.cells
        place = view.places.get(name)
        if place is None:
            return view.constants.get(name, "")
        if name in view.split:
            return self._joined(view.split[name])
        return cells[place] if place < len(cells) else ""

    def _joined(self, places: tuple[int, ...]) -> Cell:
        """Several cells as one: a day whose year stands in a column of its own."""
        parts = [self.row.cell(place) for place in places]
        unknown = next((part for part in parts if isinstance(part, Unknown)), None)
        return unknown or " ".join(text for part in parts if (text := shown(part).strip()))

    def refuse(self, name: str, key: str, **data: Any) -> None:
        self.refuse_for(name, Fault(f"sheets.{key}", data))

    def refuse_for(self, name: str, fault: Fault) -> None:
        column = self.columns.get(name)
        heading = name if column is None else column.heading
        value = shown(self.raw(name))
        self.refused.append(Refused(self.view.sheet.title, self.row.number, heading, _short(value), fault))

    def is_blank(self, name: str) -> bool:
        return self.rules.is_blank(self.raw(name))

    def read(self, name: str) -> str | date | Decimal | None:
        """A cell that holds something; None where blank, or where it was refused."""
        cell = self.raw(name)
        if cell == "" or self.rules.is_blank(cell):
            return None
        if isinstance(cell, Unknown):
            self.refuse(name, "no_value")
        elif isinstance(cell, str) and _CONTROL.search(cell):
            self.refuse(name, "control_character")
        else:
            return cell
        return None

    def text(self, name: str) -> str | None:
        """A text as it stands in the cell; None where blank, or where it was refused."""
        cell = self.read(name)
        return cell if cell is None else shown(cell)

    def name(self, name: str) -> str | None:
        """What a thing is called. Blanks around it are typing, and do not make another site of it."""
        cell = self.read(name)
        if cell is None:
            return None
        text = shown(cell)
        if name in _IDENTITY and (isinstance(cell, date) or looks_eaten(text)):
            self.refuse(name, "name_turned_into_day")
        elif len(text) > MAX_NAME:
            self.refuse(name, "name_too_long", most=MAX_NAME)
        else:
            same = self.rules.same.get(name)
            if same is not None:
                text = same.get(folded(text), text)
            return text if name == "tag" else text.strip()
        return None

    def day(self, name: str) -> Day | None:
        """A day from 1950 to today; None where blank, or where it was refused."""
        cell = self.read(name)
        if cell is None:
            return None
        found = Day(cell) if isinstance(cell, date) else self.rules.day(shown(cell))
        if isinstance(found, NoDay):
            self.refuse(name, found.why)
        elif found.day > self.rules.today:
            self.refuse(name, "day_in_future", today=self.rules.today.isoformat())
        elif found.day < FIRST_DAY:
            self.refuse(name, "day_long_ago", first=FIRST_DAY.isoformat())
        else:
            return found
        return None

    def number(self, name: str, *, percent: bool = False) -> str | None:
        """A number with the decimals as typed."""
        cell = self._measured(name)
        if cell is None:
            return None
        figures = self._figures(name, cell, percent)
        if figures is None or not percent:
            return figures
        return self._per_cent(name, Decimal(figures), figures)

    def _measured(self, name: str) -> Cell | None:
        """A cell of a column of numbers, unless it says that nobody measured, or holds a state instead."""
        cell = self.raw(name)
        word = folded(shown(cell))
        if word in self.rules.not_measured.get(name, ()) or (name in self.view.beside_states and word in self.rules.statuses):
            return None
        return self.read(name)

    def _figures(self, name: str, cell: Cell, percent: bool) -> str | None:
        if isinstance(cell, Decimal):
            return shown(cell)
        figures = shown(cell).strip()
        if percent:
            figures = figures.removesuffix("%").rstrip()
        if _OTHER_MARK[self.rules.decimal].fullmatch(figures):
            self.refuse(name, "other_decimal_mark")
            return None
        figures = figures.replace(self.rules.decimal, ".")
        if not _NUMBER.fullmatch(figures):
            self.refuse(name, "no_number")
            return None
        return figures.replace(".", "0.", 1) if figures.lstrip("-").startswith(".") else figures

    def _per_cent(self, name: str, number: Decimal, figures: str) -> str | None:
        """Nobody sees half a per cent of a coral: a share of 1 among per cents, or the other way round, is refused."""
        is_share = 0 < number < 1
        if name not in self.rules.fractions:
            if is_share:
                self.refuse(name, "share_among_percent")
                return None
            return figures
        if number > 1:
            self.refuse(name, "percent_among_shares")
            return None
        return f"{(number * 100).normalize():f}"

    def count(self, name: str) -> str | None:
        """A whole number, none below 0."""
        text = self.text(name)
        if text is None:
            return None
        found = _COUNT.fullmatch(text.strip())
        if found is None:
            self.refuse(name, "no_count")
            return None
        return str(int(found[1]))

    def status(self) -> str | None:
        """One of `STATUSES`; blank is not read."""
        cell = self.raw("status")
        state = self.rules.statuses.get(folded(shown(cell)))
        if state is None and self.is_blank("status"):
            return NOT_READ
        if state is None and self.rules.any_number is not None and self._is_number(cell):
            return self.rules.any_number
        if state is None:
            self.refuse("status", "no_value" if isinstance(cell, Unknown) else "status_unknown")
        return state

    def _is_number(self, cell: Cell) -> bool:
        """Whether a cell holds a number other than 0, which may be measured, dead or nobody's care: that is asked."""
        figures = shown(cell).strip().replace(self.rules.decimal, ".")
        return _NUMBER.fullmatch(figures) is not None and Decimal(figures) != 0

    def value(self, name: str, field: Field) -> Any:
        """The value of a protocol's field, as entries hold it; None where blank, or where it was refused."""
        if field.kind in ("number", "percent"):
            return self.number(name, percent=field.kind == "percent")
        text = self.text(name)
        if text is None or field.kind == "text":
            return text
        if field.kind == "flag":
            return self._flag(name, text)
        if field.kind == "choices":
            is_one = folded(text) in self.rules.words(name, field)  # a label may hold a comma
            parts = [text] if is_one else [part for part in _LIST_MARK.split(text) if part.strip()]
            chosen = [self._choice(name, field, part) for part in parts]
            return None if None in chosen else chosen
        return self._choice(name, field, text)

    def values(self) -> dict[str, Any]:
        """What the protocol's fields and the note hold, by the protocol's names; the state is not among them."""
        found = {field.name: value for name, field in self.view.fields if (value := self.value(name, field)) is not None}
        note = self.text("note")
        return found if note is None else {**found, "note": note}

    def judge(self, values: Map[str, Any]) -> None:
        """Refuse what the protocol does not understand.

        Only the state is required of an old sheet. What else the protocol asks nobody knew then; absent means not looked at.
        """
        said = tuple(
            (name, tuple(value) if isinstance(value, list) else value) for name, value in values.items() if name != "note"
        )
        for fault in self.rules.faults(self.view.of, said):
            if fault.key != "protocol.required":
                self.refuse_for(self.ours(fault.data["name"]), fault)

    def ours(self, field_name: str) -> str:
        """Our name for a column, by the name of what it fills."""
        return next((name for name, field in self.view.fields if field.name == field_name), field_name)

    def _flag(self, name: str, text: str) -> str | None:
        word = text.strip().casefold()
        if word in _YES | _NO:
            return "yes" if word in _YES else "no"
        self.refuse(name, "no_flag")
        return None

    def _choice(self, name: str, field: Field, text: str) -> str | None:
        words = self.rules.words(name, field)
        value = words.get(folded(text))
        if value is None:
            known = nearest(text.strip(), [choice.value for choice in field.values])
            self.refuse(name, "word_unknown", word=_short(text.strip()), field=field.name, nearest=known)
        return value


def _status_words(mapping: Mapping, field: Field | None) -> dict[str, str]:
    """Words of a status column. Where the mapping explains any, codes and labels of the protocol do not count beside it.

    Their "D" may be "detached": a sheet that needs explaining is not read by our letters.
    """
    own = {folded(state): state for state in STATUSES[:3]}
    if mapping.status:
        return own | _folded_words(mapping.status)
    return own | (_protocol_words(field) if field else {})


def state_words(protocol: Protocol) -> dict[str, str]:
    """The words, folded, by which the programme's own protocol calls the states."""
    return _status_words(Mapping(), protocol.with_role("status"))


def _protocol_words(field: Field) -> dict[str, str]:
    """Values, codes and labels in every language, where they name one value only."""
    meant: dict[str, set[str]] = {}
    for choice in field.values:
        for word in (choice.value, choice.code, *choice.label.values(), *choice.was):
            if word.isalnum() or len(word) > 1:  # a lone "-" or "?" in a sheet mostly says that nobody looked
                meant.setdefault(folded(word), set()).add(choice.value)
    return {word: values.pop() for word, values in meant.items() if len(values) == 1}


def _spellings(names: Map[str, tuple[str, ...]]) -> dict[str, str]:
    return {folded(spelling): name for name, others in names.items() for spelling in (name, *others)}


def _folded_words(words: Map[str, tuple[str, ...]]) -> dict[str, str]:
    return {folded(word): value for value, listed in words.items() for word in listed}


def _short(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 1]}…"
