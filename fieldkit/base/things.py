"""The third stratum: registered things, what contradicts itself in what was said of them, and names that two of them bear."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from typing import Any

from fieldkit.base.desk import Desk
from fieldkit.ledger import FAMILIES, Entry
from fieldkit.ledger.fold import merged
from fieldkit.ledger.subjects import subjects
from fieldkit.register.names import folded
from fieldkit.settle.questions import corrected_twice, name_of_two

Thing = tuple[str, str]
"""A kind and an id."""

_KINDS = frozenset(
    kind for kind, family in FAMILIES.items() if family in ("register", "protocol") and kind not in ("coral", "tag")
)
_NAMES = {"site": "name", "plot": "name", "genotype": "accession", "person": "initials"}
_SCOPES = {"plot": "site", "boat_day": "site"}


def things_of(entries: Iterable[Entry]) -> set[Thing]:
    """The registered things that these entries speak of. (Corals and their tags are the plots' to tell.)"""
    return {(entry.kind, id_) for entry in entries if entry.kind in _KINDS for id_ in subjects(entry)}


def put_things(desk: Desk, things: Collection[Thing]) -> None:
    """Compute the rows of these things, and the matters about them and their names."""
    said: dict[Thing, list[Entry]] = defaultdict(list)
    for entry in desk.ledger.about({id_ for _, id_ in things}):
        for thing in things_of([entry]):
            said[thing].append(entry)
    spoken = {entry.digest: entry for entries in said.values() for entry in entries}
    heads = desk.standing([*spoken.values(), *desk.ledger.mentioning(spoken)]).heads
    for thing in sorted(things):
        _put_thing(desk, thing, [entry for entry in said[thing] if entry.digest in heads])


def _put_thing(desk: Desk, thing: Thing, heads: list[Entry]) -> None:
    kind, unit = thing[0], " ".join(thing)
    named = {desk.state.name_of_thing(*thing)}
    values, disputed = merged(entry.values for entry in heads)
    if heads:
        name, scope = (_text(values.get(names.get(kind, ""))) for names in (_NAMES, _SCOPES))
        desk.state.put_thing(*thing, scope, name and folded(name), values, disputed)
    else:
        desk.state.drop_thing(*thing)
    matters = [corrected_twice([entry.digest for entry in heads], disputed, unit)] if disputed else []
    desk.state.put_matters([unit], matters)
    for scoped in {*named, desk.state.name_of_thing(*thing)} - {None}:
        _put_name(desk, kind, *scoped)  # type: ignore[misc]


def _put_name(desk: Desk, kind: str, scope: str | None, name: str) -> None:
    ids = desk.state.things_named(kind, scope, name)
    unit = f"name of {kind} {scope or ''} {name}"
    desk.state.put_matters([unit], [name_of_two(ids, name, unit)] if len(ids) > 1 else [])


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None
