"""What a protocol file may say: each table's keys, and how the value of each is read.

One table at a time and one key at a time; what several keys or tables must keep to together is in `rules`. A reader
gives the value, or adds a fault and gives None. `docs/protocol.md` explains every key named here, and a test holds it to that.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fieldkit import messages
from fieldkit.protocol.duration import days_of
from fieldkit.protocol.errors import DurationError
from fieldkit.protocol.faults import Faults, shown
from fieldkit.protocol.number import number
from fieldkit.protocol.places import Path
from fieldkit.protocol.protocol import EVENTS, HANDS, KINDS, OF, RESERVED, ROLES, SINCE, Choice
from fieldkit.protocol.spelling import nearest

Reader = Callable[[Any, Path, Faults], Any]


@dataclass(frozen=True, slots=True)
class Key:
    """How the value of a key is read, and what it is where the key is absent (unless it is needed)."""

    read: Reader
    needed: bool = False
    default: Any = None


def read_table(raw: Any, keys: Mapping[str, Key], path: Path, faults: Faults) -> dict[str, Any] | None:
    """The values of a table by key, defaults filled in; None, with every fault told, where it is not as it should be."""
    if not isinstance(raw, Mapping):
        faults.add(path, "not_a_table", value=raw)
        return None
    before = len(faults)
    for name in raw.keys() - keys.keys():
        faults.add((*path, name), "unknown_key", name=name, known=nearest(name, keys))
    values = {}
    for name, key in keys.items():
        if name in raw:
            values[name] = key.read(raw[name], (*path, name), faults)
        elif key.needed:
            faults.add(path, "key_missing", name=name)
        else:
            values[name] = key.default
    return values if len(faults) == before else None


def _matching(pattern: str, fault: str) -> Reader:
    """A text of a given form; `fault` is the sentence that says which."""
    form = re.compile(pattern)

    def read(value: Any, path: Path, faults: Faults) -> str | None:
        if isinstance(value, str) and form.fullmatch(value):
            return value
        faults.add(path, fault, value=value)
        return None

    return read


def _one_of(known: tuple[str, ...]) -> Reader:
    def read(value: Any, path: Path, faults: Faults) -> str | None:
        if isinstance(value, str) and value in known:
            return value
        faults.add(path, "not_one_of", value=value, known=nearest(shown(value), known))
        return None

    return read


# Names stand in entries, whose keys are of this form (RFC 8785 as narrowed in docs/entries.md), and in column headings.
name = _matching(r"[a-z][a-z0-9_]{0,39}", "bad_name")
text = _matching(r"(?s)(?=.*\S).{1,500}", "no_text")
code = _matching(r"[!-~¡-ɏ]{1,6}", "bad_code")
unit = _matching(r"[!-~]{1,40}", "bad_unit")
_protocol_name = _matching(r"[a-z0-9]+(-[a-z0-9]+){0,9}", "bad_protocol_name")
_language = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")


def field_name(value: Any, path: Path, faults: Faults) -> str | None:
    if isinstance(value, str) and value in RESERVED:
        faults.add(path, "reserved_name", value=value)
        return None
    return name(value, path, faults)  # type: ignore[no-any-return]


def version(value: Any, path: Path, faults: Faults) -> int | None:
    if type(value) is int and 1 <= value <= 1_000_000:  # `true` is an int in Python
        return value
    faults.add(path, "bad_version", value=value)
    return None


def truth(value: Any, path: Path, faults: Faults) -> bool | None:
    if isinstance(value, bool):
        return value
    faults.add(path, "not_true_or_false", value=value)
    return None


def decimal(value: Any, path: Path, faults: Faults) -> Decimal | None:
    found = number(value)
    if found is None:
        faults.add(path, "not_a_quoted_number", value=value)
    return found


def days(value: Any, path: Path, faults: Faults) -> int | None:
    try:
        return days_of(value if isinstance(value, str) else "")
    except DurationError:
        faults.add(path, "bad_duration", value=value)
        return None


def wordings(value: Any, path: Path, faults: Faults) -> dict[str, str] | None:
    """A text in every language that fieldkit speaks, and in others if the programme has them."""
    if not isinstance(value, Mapping):
        faults.add(path, "not_wordings", value=value)
        return None
    for language in messages.LANGUAGES:
        if language not in value:
            faults.add(path, "language_missing", language=language)
    for language, wording in value.items():
        if not _language.fullmatch(language):
            faults.add((*path, language), "bad_language", value=language)
        text(wording, (*path, language), faults)
    return dict(value)


def names(value: Any, path: Path, faults: Faults) -> tuple[str, ...] | None:
    """One name, or a list of names."""
    several = [value] if isinstance(value, str) else value
    if not isinstance(several, list) or not several:
        faults.add(path, "not_a_list", value=value)
        return None
    return tuple(name(one, (*path, index) if several is value else path, faults) for index, one in enumerate(several))


def hands(value: Any, path: Path, faults: Faults) -> tuple[str, ...] | None:
    """One of the hands that a coral can need, or a list of some."""
    several = [value] if isinstance(value, str) else value
    if not isinstance(several, list) or not several:
        faults.add(path, "not_a_list", value=value)
        return None
    read = _one_of(HANDS)
    found = (read(one, (*path, index) if several is value else path, faults) for index, one in enumerate(several))
    return tuple(dict.fromkeys(found))


def choices(value: Any, path: Path, faults: Faults) -> tuple[Choice, ...] | None:
    if not isinstance(value, list) or not value:
        faults.add(path, "not_a_list", value=value)
        return None
    found = [read_table(one, CHOICE, (*path, index), faults) for index, one in enumerate(value)]
    return tuple(Choice(**one) for one in found if one is not None)


def conditions(value: Any, path: Path, faults: Faults) -> dict[str, tuple[str, ...]] | None:
    """Names of fields, each with the list of its values that this field goes with."""
    if not isinstance(value, Mapping) or not value:
        faults.add(path, "not_conditions", value=value)
        return None
    return {field: names(wanted, (*path, field), faults) or () for field, wanted in value.items()}


CHOICE: Mapping[str, Key] = {
    "value": Key(name, needed=True),
    "code": Key(code, needed=True),
    "label": Key(wordings, needed=True),
    "was": Key(names, default=()),
    "asks": Key(hands, default=()),
}

FIELD: Mapping[str, Key] = {
    "name": Key(field_name, needed=True),
    "of": Key(_one_of(OF), needed=True),
    "kind": Key(_one_of(KINDS), needed=True),
    "label": Key(wordings, needed=True),
    "role": Key(_one_of(tuple(ROLES))),
    "required": Key(truth, default=False),
    "help": Key(wordings, default={}),
    "values": Key(choices, default=()),
    "ordered": Key(truth, default=False),
    "unit": Key(unit),
    "only_where": Key(conditions, default={}),
    "agree_within": Key(decimal),
    "term": Key(text),
    "min": Key(decimal),
    "max": Key(decimal),
    "step": Key(decimal),
    "example": Key(text),
    "was": Key(names, default=()),
}

HEAD: Mapping[str, Key] = {
    "name": Key(_protocol_name, needed=True),
    "version": Key(version, needed=True),
    "title": Key(wordings, needed=True),
    "same_visit": Key(days, default=1),
    "last_seen": Key(_one_of(("hidden", "shown")), default="hidden"),
    "blind_repeats": Key(decimal),
}

ROUND: Mapping[str, Key] = {
    "name": Key(text, needed=True),
    "age": Key(days, needed=True),
    "early": Key(days, needed=True),
    "late": Key(days, needed=True),
}

EVENT_VISIT: Mapping[str, Key] = {
    "event": Key(_one_of(EVENTS), needed=True),
    "label": Key(wordings, needed=True),
    "since": Key(_one_of(SINCE), default="start"),
    "opens": Key(days, needed=True),
    "closes": Key(days, needed=True),
}

EFFORT: Mapping[str, Key] = {
    "minutes_per_plot": Key(decimal, needed=True),
    "minutes_per_coral": Key(decimal, needed=True),
    "minutes_per_hand": Key(decimal, needed=True),
}

PLAUSIBLE: Mapping[str, Key] = {"growth_cm_per_year": Key(decimal)}

TABLES = ("protocol", "field", "all_well", "round", "event_visit", "effort", "plausible")
