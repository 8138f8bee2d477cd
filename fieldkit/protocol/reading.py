"""From the bytes of a protocol file to a `Protocol`, or to the list of everything that is wrong with them. Opens nothing."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from fieldkit.protocol.errors import ProtocolError
from fieldkit.protocol.faults import Faults, shown
from fieldkit.protocol.places import Path, depth, places
from fieldkit.protocol.protocol import Effort, EventVisit, Field, Protocol, Round
from fieldkit.protocol.row import row_schema, understood
from fieldkit.protocol.rules import (
    check_effort,
    check_event_visits,
    check_fields,
    check_percentage,
    check_positive,
    check_rounds,
)
from fieldkit.protocol.spelling import nearest
from fieldkit.protocol.tables import EFFORT, EVENT_VISIT, FIELD, HEAD, PLAUSIBLE, ROUND, TABLES, read_table

# Many times the longest protocol that a slate could hold; it bounds the work that a broken or hostile file can cause.
MAX_BYTES = 256 * 1024
# A wording within a choice within a list within a field, and room to spare.
DEEPEST = 8
_POSITION = re.compile(r"\(at line ([0-9]+), column ([0-9]+)\)")


def read_protocol(body: bytes, *, name: str = "protocol") -> Protocol:
    """The protocol that a file holds.

    Args:
        body: the file's bytes, UTF-8, at most 256 KiB; their SHA-256 is the protocol's digest.
        name: what faults call the file.

    Raises:
        ProtocolError: with every fault found: file, line, place in the file, value, remedy. Where the file is no TOML at
            all, with that one alone.
    """
    text = _decoded(body, name)
    raw = _parsed(text, name)
    faults = Faults(name, places(text), _names(raw))
    for table in raw.keys() - set(TABLES):
        faults.add((table,), "unknown_key", name=table, known=nearest(table, TABLES))
    head = _head(raw, faults)
    fields = _fields(raw, faults)
    rounds = _rounds(raw, faults)
    event_visits = _event_visits(raw, faults)
    effort = _effort(raw, faults)
    plausible = _plausible(raw, faults)
    all_well = _all_well(raw, fields, faults)
    faults.refuse()
    return Protocol(
        **head,
        fields=tuple(fields.values()),
        rounds=rounds,
        event_visits=event_visits,
        effort=effort,
        plausible=plausible,
        all_well=all_well,
        digest=hashlib.sha256(body).hexdigest(),
        body=body,
    )


def _decoded(body: bytes, file: str) -> str:
    if len(body) > MAX_BYTES:
        raise ProtocolError.of("protocol.too_large", file=file, bytes=len(body), most=MAX_BYTES)
    try:
        return body.decode("utf-8-sig")  # editors on Windows put a byte-order mark in front
    except UnicodeDecodeError as error:
        line = body.count(b"\n", 0, error.start) + 1
        raise ProtocolError.of("protocol.not_utf8", file=file, line=line) from error


def _parsed(text: str, file: str) -> dict[str, Any]:
    if depth(text) > DEEPEST:
        raise ProtocolError.of("protocol.too_deep", file=file, most=DEEPEST)
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except ValueError as error:  # TOMLDecodeError is one; so is a number of too many digits, which has no place
        raise _not_toml(text, file, str(error)) from error


def _not_toml(text: str, file: str, reason: str) -> ProtocolError:
    lines = text.rstrip().split("\n")
    found = _POSITION.search(reason)
    line, column = (int(found[1]), int(found[2])) if found else (len(lines), 1)
    near = lines[min(line, len(lines)) - 1].strip()
    return ProtocolError.of("protocol.not_toml", file=file, line=line, column=column, near=shown(near))


def _names(raw: Mapping[str, Any]) -> dict[Path, str]:
    """What fields and rounds are called, to say where a fault is."""
    found: dict[Path, str] = {}
    for table in ("field", "round"):
        for path, one in _listed(raw, table).items():
            if isinstance(one, Mapping) and isinstance(one.get("name"), str):
                found[path] = shown(one["name"])
    return found


def _head(raw: Mapping[str, Any], faults: Faults) -> dict[str, Any]:
    found = read_table(raw.get("protocol", {}), HEAD, ("protocol",), faults)
    if found is None:
        return {}
    check_percentage(("protocol", "blind_repeats"), found["blind_repeats"], faults)
    found["same_visit_days"] = found.pop("same_visit")
    return found


def _fields(raw: Mapping[str, Any], faults: Faults) -> dict[Path, Field]:
    """The fields by where they stand; those that are faulty in themselves are left out, with their faults told."""
    tables = _listed(raw, "field", faults)
    if not tables and not faults.touch(("field",)):
        faults.add(("field",), "no_field")
    read = {path: read_table(one, FIELD, path, faults) for path, one in tables.items()}
    fields = {path: _field(found) for path, found in read.items() if found is not None}
    check_fields(fields, _field_names(raw), faults)
    return fields


def _field(found: dict[str, Any]) -> Field:
    if found["kind"] == "percent":
        for key, limit in (("min", Decimal(0)), ("max", Decimal(100))):
            found[key] = limit if found[key] is None else found[key]
    return Field(**found)


def _rounds(raw: Mapping[str, Any], faults: Faults) -> tuple[Round, ...]:
    tables = {path: read_table(one, ROUND, path, faults) for path, one in _listed(raw, "round", faults).items()}
    rounds = {path: _round(**found) for path, found in tables.items() if found is not None}
    check_rounds(rounds, faults)
    return tuple(sorted(rounds.values(), key=lambda one: one.age_days))


def _round(name: str, age: int, early: int, late: int) -> Round:
    return Round(name=name, age_days=age, early_days=age - early, late_days=age + late)


def _event_visits(raw: Mapping[str, Any], faults: Faults) -> tuple[EventVisit, ...]:
    tables = _listed(raw, "event_visit", faults).items()
    read = {path: read_table(one, EVENT_VISIT, path, faults) for path, one in tables}
    visits = {path: _event_visit(**found) for path, found in read.items() if found is not None}
    check_event_visits(visits, faults)
    return tuple(visits.values())


def _event_visit(event: str, label: Mapping[str, str], since: str, opens: int, closes: int) -> EventVisit:
    return EventVisit(event, label, since, opens_days=opens, closes_days=closes)


def _effort(raw: Mapping[str, Any], faults: Faults) -> Effort | None:
    found = read_table(raw["effort"], EFFORT, ("effort",), faults) if "effort" in raw else None
    if found is None:
        return None
    effort = Effort(**found)
    check_effort(effort, faults)
    return effort


def _plausible(raw: Mapping[str, Any], faults: Faults) -> dict[str, Decimal]:
    found = read_table(raw.get("plausible", {}), PLAUSIBLE, ("plausible",), faults) or {}
    for key, limit in found.items():
        check_positive(("plausible", key), limit, faults)
    return {key: limit for key, limit in found.items() if limit is not None}


def _all_well(raw: Mapping[str, Any], fields: Mapping[Path, Field], faults: Faults) -> dict[str, Any]:
    """What one tap on "all well" records: a whole row, judged as any other. Fields with faults cannot judge it."""
    values = raw.get("all_well", {})
    if not isinstance(values, Mapping):
        faults.add(("all_well",), "not_a_table", value=values)
    if not isinstance(values, Mapping) or not values:
        return {}
    names, sound = _field_names(raw), _sound(fields, faults)
    for name in values.keys() - names:
        faults.add(("all_well", name), "unknown_field", name=name, known=nearest(name, names))
    judges = {name: value for name, value in values.items() if name in {field.name for field in sound}}
    judged = understood(row_schema(field for field in sound if field.of == "coral")(), judges)
    for fault in judged.faults:
        faults.take(("all_well", fault.data["name"]), fault)
    return dict(values)


def _sound(fields: Mapping[Path, Field], faults: Faults) -> list[Field]:
    sound: dict[str, Field] = {}
    for path, field in fields.items():
        if not faults.touch(path) and field.only_where.keys() <= sound.keys():
            sound[field.name] = field
    return list(sound.values())


def _field_names(raw: Mapping[str, Any]) -> set[str]:
    names = (one.get("name") for one in _listed(raw, "field").values() if isinstance(one, Mapping))
    return {name for name in names if isinstance(name, str)}


def _listed(raw: Mapping[str, Any], table: str, faults: Faults | None = None) -> dict[Path, Any]:
    """The tables of a [[list]] by where they stand."""
    found = raw.get(table, [])
    if isinstance(found, list):
        return {(table, index): one for index, one in enumerate(found)}
    if faults is not None:
        faults.add((table,), "not_a_list_of_tables", table=table)
    return {}
