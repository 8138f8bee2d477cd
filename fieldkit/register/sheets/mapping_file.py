"""A mapping written as the file that a person can read, mend and use again. Pure; `read_mapping` reads the same back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Map
from typing import Any

from fieldkit.register.sheets.mapping import Mapping

_BARE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")


def written_mapping(mapping: Mapping, *, remarks: Iterable[str] = (), examples: Map[str, str] | None = None) -> str:
    """The mapping as TOML.

    Args:
        remarks: lines of comment for the head of the file.
        examples: heading to what stands below it, put beside the columns that are taken, and listed for those that are not.
    """
    return "\n".join(_lines(mapping, remarks, examples or {})) + "\n"


def _lines(mapping: Mapping, remarks: Iterable[str], examples: Map[str, str]) -> Iterator[str]:
    yield from (f"# {line}" for remark in remarks for line in remark.splitlines())
    single = {
        "layout": mapping.layout,
        "date_order": mapping.date_order,
        "decimal": mapping.decimal if mapping.decimal != "." else None,
        **{name: list(getattr(mapping, name)) or None for name in ("blank", "tabs", "fractions", "headings")},
    }
    yield from (f"{name} = {_value(value)}" for name, value in single.items() if value is not None)
    yield from _columns(mapping, examples)
    yield from _table("status", {name: list(words) for name, words in mapping.status.items()})
    for name, values in mapping.words.items():
        yield from _table(f"words.{name}", {value: list(words) for value, words in values.items()})
    for name, names in mapping.same.items():
        yield from _table(f"same.{name}", {known: list(others) for known, others in names.items()})
    yield from _table("constants", mapping.constants)
    yield from _table("joined", mapping.joined)
    for visit in mapping.visits:
        yield from ("", "[[visit]]")
        if visit.seen_on or "seen_on" not in visit.columns:
            yield f"seen_on = {_value(visit.seen_on)}"
        columns = ", ".join(f"{_key(name)} = {_value(text)}" for name, text in visit.columns.items())
        yield f"columns = {{ {columns} }}"


def _columns(mapping: Mapping, examples: Map[str, str]) -> Iterator[str]:
    if mapping.columns or mapping.visits:
        yield from ("", "[columns]")
    for name, texts in mapping.columns.items():
        value = _value(texts[0] if len(texts) == 1 else list(texts))
        yield f"{_key(name)} = {value}" + (f"  # {_line(examples[texts[0]])}" if examples.get(texts[0]) else "")
    taken = {text for texts in mapping.columns.values() for text in texts}
    taken |= {text for visit in mapping.visits for text in visit.columns.values()}
    yield from (f"# ? = {_value(label)}  # {_line(shown)}" for label, shown in examples.items() if label not in taken)


def _table(name: str, table: Map[str, Any]) -> Iterator[str]:
    if table:
        yield from ("", f"[{name}]", *(f"{_key(key)} = {_value(value)}" for key, value in table.items()))


def _key(name: str) -> str:
    return name if name and set(name) <= _BARE else _value(name)


def _value(value: str | list[str]) -> str:
    """A JSON string is a basic string of TOML, but for the one control character that JSON leaves as it is."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _line(text: str) -> str:
    """A text for a comment: nothing in it can end the line."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
