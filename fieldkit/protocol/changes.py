"""What a new version of a protocol changes for observations that were written under the one before.

Every session names the file it was written under, so nothing becomes unreadable. But figures, exports and comparisons go by
the newest: what it no longer names no longer shows in them. Whoever adopts a version is told so before, not after.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fieldkit.errors import Fault
from fieldkit.protocol.protocol import Field, Protocol


def changes(old: Protocol, new: Protocol) -> tuple[Fault, ...]:
    """What is to be known before `new` is adopted in place of `old`, a sentence each; nothing where nothing changes."""
    return tuple(_changes(old, new))


def _changes(old: Protocol, new: Protocol) -> Iterator[Fault]:
    if new.name == old.name and new.version <= old.version and new != old:
        yield _told("version_not_higher", old=str(old.version), new=str(new.version))
    heirs = {name: field for field in new.fields for name in (field.name, *field.was)}
    for field in old.fields:
        heir = heirs.get(field.name)
        if heir is None or heir.of != field.of:
            yield _told("field_gone", name=field.name)
        else:
            yield from _field_changes(field, heir)
    inherited = {heirs[field.name].name for field in old.fields if field.name in heirs}
    for field in new.fields:
        if field.name not in inherited:
            yield _told("field_new", name=field.name)
    if old.same_visit_days != new.same_visit_days:
        yield _told("same_visit_changed", old=str(old.same_visit_days), new=str(new.same_visit_days))


def _field_changes(old: Field, new: Field) -> Iterator[Fault]:
    if old.name != new.name:
        yield _told("field_renamed", name=old.name, now=new.name)
    if old.kind != new.kind:
        yield _told("kind_changed", name=new.name, old=old.kind, new=new.kind)
    if old.unit != new.unit:
        yield _told("unit_changed", name=new.name, old=old.unit or "-", new=new.unit or "-")
    if old.role != new.role:
        yield _told("role_changed", name=new.name, old=old.role or "-", new=new.role or "-")
    heirs = {value: choice.value for choice in new.values for value in (choice.value, *choice.was)}
    for choice in old.values:
        if choice.value not in heirs:
            yield _told("value_gone", name=new.name, value=choice.value)
        elif heirs[choice.value] != choice.value:
            yield _told("value_renamed", name=new.name, value=choice.value, now=heirs[choice.value])


def _told(key: str, **data: Any) -> Fault:
    return Fault(f"protocol.{key}", data)
