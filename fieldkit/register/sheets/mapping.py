"""The mapping file: what the columns and words of somebody's sheet mean in ours. TOML, all of it optional. Pure.

    layout = "long"
    date_order = "dmy"

    [columns]               # ours = the heading in the sheet
    tag = "Coral ID"

    [status]                # ours = their words
    dead = ["DEAD", "0"]

`docs/import.md` explains every key; a test holds it to that. A file with faults is refused with all of them, each by its line.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from fieldkit.errors import Fault, raise_all
from fieldkit.ledger import canonical, sha256
from fieldkit.protocol.places import line_of, places
from fieldkit.protocol.spelling import nearest
from fieldkit.register.names import folded
from fieldkit.register.sheets.errors import SheetError

WHERE = ("site", "plot", "position", "tag", "genotype", "species")
DAYS = ("planted_on", "seen_on", "last_alive", "known_from", "withdrawn_on")
SEEN = ("age_days", "round", "recorder", "status", "size_cm", "live_tissue", "cause", "note")
COUNTED = ("planted", "alive", "dead", "missing")
NAMES = (*WHERE, *DAYS, *SEEN, *COUNTED)
"""What a column may hold, beside the fields of the protocol."""

ROLES = {"status": "status", "size_cm": "size", "live_tissue": "live_tissue", "cause": "cause"}
"""Our names for what the protocol records in fields of these roles."""

LAYOUTS = ("long", "one_row_per_coral", "counts", "wide")
DATE_ORDERS = ("ymd", "dmy", "mdy")
STATUSES = ("alive", "dead", "missing", "not_searched", "not_read")
"""What a word in a status column may stand for. `not_searched` makes an observation without a state, `not_read` makes none."""

MAX_BYTES = 256 * 1024
NUMBER = "{number}"
"""In a column of states: any number, as where a size stands for "alive"."""
TAB, FILE = "{tab}", "{file}"
"""In a constant: the name of the tab, and of the file without its suffix."""
NOT_MEASURED = "not_measured"
"""In a column of numbers: words, and numbers, that say that nobody measured."""

_KEYS = (
    *("layout", "date_order", "decimal", "blank", "columns", "status", "words", "constants", "visit"),
    *("tabs", "headings", "same", "fractions", "joined"),
)
_ONE_OF = {"layout": LAYOUTS, "date_order": DATE_ORDERS, "decimal": (".", ",")}
_PER_VISIT = ("seen_on", "columns")
_POSITION = re.compile(r"at line (\d+)")

_Path = tuple[str | int, ...]
_Found = tuple[_Path, str, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Visit:
    """In the layout `wide`: the day of one visit, and the columns that hold what was seen that day.

    `seen_on` is "" where one of the columns holds the day.
    """

    seen_on: str
    columns: Map[str, str]


@dataclass(frozen=True, slots=True)
class Mapping:
    """How a sheet is to be read. The empty mapping stands for no file: headings in our own names, days as year-month-day.

    Attributes:
        layout: one of `LAYOUTS`; None: to be told from the headings.
        columns: our name to the headings in the sheet that may hold it, of which the first that is there counts; a heading
            "A + B" is two columns, joined with a blank. Where none is given, headings in our own names are looked for.
        status: one of `STATUSES` to the words that mean it.
        words: name of a field with a list of values, to value, to the words that mean it.
        date_order: one of `DATE_ORDERS`, for days in figures; None: only what can be read in one way is taken.
        decimal: the decimal mark.
        blank: words that say no more than a blank cell, in any column.
        constants: our name to what holds for every row.
        visits: for the layout `wide`.
        tabs: the tabs of a workbook to take; none: the one that holds something.
        headings: all headings of the sheet in their order, so that it can be written again.
        same: one of `WHERE` to a name, to the other spellings of it; a name with no other spelling is one of its own.
        fractions: columns of per cent that hold shares of 1.
        joined: the heading of a column to what others join into it, such as "{site}-{tag}".
    """

    layout: str | None = None
    columns: Map[str, tuple[str, ...]] = field(default_factory=dict)
    status: Map[str, tuple[str, ...]] = field(default_factory=dict)
    words: Map[str, Map[str, tuple[str, ...]]] = field(default_factory=dict)
    date_order: str | None = None
    decimal: str = "."
    blank: tuple[str, ...] = ()
    constants: Map[str, str] = field(default_factory=dict)
    visits: tuple[Visit, ...] = ()
    tabs: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    same: Map[str, Map[str, tuple[str, ...]]] = field(default_factory=dict)
    fractions: tuple[str, ...] = ()
    joined: Map[str, str] = field(default_factory=dict)

    @property
    def digest(self) -> str:
        """SHA-256 of what it says of values: comments and order of keys in the file make no difference."""
        said = {
            "layout": self.layout,
            "columns": [[name, *headings] for name, headings in sorted(self.columns.items())],
            "status": _said(self.status),
            "words": [[name, _said(values)] for name, values in sorted(self.words.items())],
            "date_order": self.date_order,
            "decimal": self.decimal,
            "blank": sorted(self.blank),
            "constants": sorted(self.constants.items()),
            "visits": [[visit.seen_on, sorted(visit.columns.items())] for visit in self.visits],
            "same": [[name, _said(names)] for name, names in sorted(self.same.items())],
            "fractions": sorted(self.fractions),
            "joined": sorted(self.joined.items()),
        }
        return sha256(canonical(said))


def read_mapping(body: bytes, *, name: str = "mapping", fields: Collection[str] = ()) -> Mapping:
    """The mapping that a file holds.

    Args:
        body: the file's bytes, UTF-8 TOML, at most 256 KiB.
        name: what faults call the file.
        fields: names of the protocol's fields, which columns may hold too.

    Raises:
        SheetError: with every fault: file, line, key, value, remedy.
    """
    text, raw = _parsed(body, name)
    lines = places(text)
    found = sorted(_faults(raw, (*NAMES, *fields)), key=lambda fault: line_of(fault[0], lines))
    raise_all(
        SheetError,
        (
            Fault(f"sheets.{key}", {"file": name, "line": line_of(path, lines), "key": ".".join(map(str, path)), **data})
            for path, key, data in found
        ),
    )
    return Mapping(
        layout=raw.get("layout"),
        columns={ours: _words(headings) for ours, headings in raw.get("columns", {}).items()},
        status=_by_value(raw.get("status", {})),
        words={ours: _by_value(values) for ours, values in raw.get("words", {}).items()},
        date_order=raw.get("date_order"),
        decimal=raw.get("decimal", "."),
        blank=_words(raw.get("blank", [])),
        constants={ours: _text(value) or "" for ours, value in raw.get("constants", {}).items()},
        visits=tuple(Visit(_text(visit.get("seen_on")) or "", dict(visit["columns"])) for visit in raw.get("visit", [])),
        tabs=_words(raw.get("tabs", [])),
        headings=_words(raw.get("headings", [])),
        same={ours: _by_value(names) for ours, names in raw.get("same", {}).items()},
        fractions=_words(raw.get("fractions", [])),
        joined=dict(raw.get("joined", {})),
    )


def _parsed(body: bytes, file: str) -> tuple[str, dict[str, Any]]:
    if len(body) > MAX_BYTES:
        raise SheetError.of("sheets.mapping_too_large", file=file, most=MAX_BYTES // 1024)
    try:
        text = body.decode("utf-8-sig")
        return text, tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise SheetError.of("sheets.mapping_not_utf8", file=file, line=body.count(b"\n", 0, error.start) + 1) from error
    except tomllib.TOMLDecodeError as error:
        place = _POSITION.search(str(error))
        line = int(place[1]) if place else text.count("\n") + 1
        near = [*text.split("\n"), ""][line - 1].strip()[:60]
        raise SheetError.of("sheets.mapping_not_toml", file=file, line=line, value=near) from error
    except RecursionError as error:
        raise SheetError.of("sheets.mapping_not_toml", file=file, line=1, value="[[[[…") from error


def _faults(raw: dict[str, Any], known: Collection[str]) -> Iterator[_Found]:
    yield from _unknown((), raw, _KEYS)
    for key, allowed in _ONE_OF.items():
        if key in raw and raw[key] not in allowed:
            yield (key,), "mapping_not_one_of", {"value": _quoted(raw[key]), "known": ", ".join(allowed)}
    yield from _columns_faults(raw.get("columns", {}), known)
    yield from _table_faults(("constants",), raw.get("constants", {}), known)
    yield from _table_faults(("joined",), raw.get("joined", {}), None)
    yield from _same_faults(raw.get("same", {}))
    yield from _status_faults(raw.get("status", {}))
    yield from _words_faults(raw.get("words", {}), known)
    for key in ("blank", "tabs", "headings", "fractions"):
        yield from _word_faults((key,), raw.get(key, []))
    yield from _visit_faults(raw.get("visit", []), known)
    if all(isinstance(raw.get(key, {}), dict) for key in ("columns", "constants")):
        for ours in raw.get("columns", {}).keys() & raw.get("constants", {}).keys():
            yield ("constants", ours), "mapping_column_and_constant", {}


def _unknown(path: _Path, table: Map[str, Any], known: Collection[str]) -> Iterator[_Found]:
    for key in table:
        if key not in known:
            yield (*path, key), "mapping_unknown_key", {"value": key[:60], "nearest": nearest(key, known)}


def _table_faults(path: _Path, table: Any, known: Collection[str] | None) -> Iterator[_Found]:
    """A table of our names to texts; None: of any names."""
    if not isinstance(table, dict):
        yield path, "mapping_not_a_table", {"value": _quoted(table)}
        return
    if known is not None:
        yield from _unknown(path, table, known)
    for key, value in table.items():
        is_constant = path[-1] == "constants"
        if not (_text(value) if is_constant else isinstance(value, str)) or not str(value).strip():
            yield (*path, key), "mapping_no_text", {"value": _quoted(value)}


def _columns_faults(table: Any, known: Collection[str]) -> Iterator[_Found]:
    """A table of our names to a heading, or to several that may stand for it."""
    if not isinstance(table, dict):
        yield ("columns",), "mapping_not_a_table", {"value": _quoted(table)}
        return
    yield from _unknown(("columns",), table, known)
    for key, value in table.items():
        headings = value if isinstance(value, list) else [value]
        if not headings or not all(isinstance(heading, str) and heading.strip() for heading in headings):
            yield ("columns", key), "mapping_no_text", {"value": _quoted(value)}


def _same_faults(table: Any) -> Iterator[_Found]:
    """A table of names of things to their other spellings: no spelling may be of two."""
    if not isinstance(table, dict):
        yield ("same",), "mapping_not_a_table", {"value": _quoted(table)}
        return
    yield from _unknown(("same",), table, WHERE)
    for name, names in table.items():
        yield from _meaning_faults(("same", name), names)


def _status_faults(table: Any) -> Iterator[_Found]:
    if isinstance(table, dict):
        yield from _unknown(("status",), table, STATUSES)
    yield from _meaning_faults(("status",), table)


def _words_faults(table: Any, known: Collection[str]) -> Iterator[_Found]:
    if not isinstance(table, dict):
        yield ("words",), "mapping_not_a_table", {"value": _quoted(table)}
        return
    yield from _unknown(("words",), table, [name for name in known if name != "status"])
    for name, values in table.items():
        yield from _meaning_faults(("words", name), values)


def _meaning_faults(path: _Path, table: Any) -> Iterator[_Found]:
    """A table of values to the words that mean them: no word may mean two."""
    if not isinstance(table, dict):
        yield path, "mapping_not_a_table", {"value": _quoted(table)}
        return
    meant: dict[str, str] = {}
    for value, words in table.items():
        yield from _word_faults((*path, value), words)
        for word in _words(words):
            if not folded(word) and value != "not_read":
                # Silence is no observation: what was not read must never become a death, whoever asks for it.
                yield (*path, value), "mapping_blank_means_nothing", {}
            elif (other := meant.setdefault(folded(word), value)) != value:
                yield (*path, value), "mapping_word_twice", {"value": word[:60], "other": other}


def _word_faults(path: _Path, words: Any) -> Iterator[_Found]:
    if _text(words) is None and not (isinstance(words, list) and all(_text(word) is not None for word in words)):
        yield path, "mapping_no_words", {"value": _quoted(words)}


def _visit_faults(visits: Any, known: Collection[str]) -> Iterator[_Found]:
    if not isinstance(visits, list) or not all(isinstance(visit, dict) for visit in visits):
        yield ("visit",), "mapping_no_visits", {}
        return
    for place, visit in enumerate(visits):
        yield from _unknown(("visit", place), visit, _PER_VISIT)
        columns = visit.get("columns", "")
        holds_day = "seen_on" not in visit and isinstance(columns, dict) and "seen_on" in columns
        if not holds_day and not _text(visit.get("seen_on")):
            yield ("visit", place, "seen_on"), "mapping_no_text", {"value": _quoted(visit.get("seen_on", ""))}
        yield from _table_faults(("visit", place, "columns"), columns, known)


def _by_value(table: Map[str, Any]) -> dict[str, tuple[str, ...]]:
    return {value: _words(words) for value, words in table.items()}


def _said(meanings: Map[str, tuple[str, ...]]) -> list[list[Any]]:
    return [[value, sorted(words)] for value, words in sorted(meanings.items())]


def _words(words: Any) -> tuple[str, ...]:
    listed = words if isinstance(words, list) else [words]
    return tuple(text for word in listed if (text := _text(word)) is not None)


def _text(value: Any) -> str | None:
    """A text, or what TOML lets a person write without quotation marks where they mean one: 0, 2019-08-01."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, date)):
        return None
    return str(value)


def _quoted(value: Any) -> str:
    return str(value)[:60]
