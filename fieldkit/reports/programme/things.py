"""Registered things: lists of them, what each is called, all that was said of one, and what hangs on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.base import MatterRow, View
from fieldkit.register.fields import REGISTER
from fieldkit.register.names import in_order
from fieldkit.register.versions import Story, story


@dataclass(frozen=True)
class Registered:
    """A thing in a list."""

    id: str
    called: str
    values: Mapping[str, Any]
    is_disputed: bool


def of_kind(view: View, kind: str) -> list[Registered]:
    """The things of a kind, as a person sorts them; plots by their site first, lots by their genotype."""
    known = REGISTER[kind]
    rows = view.rows("SELECT id, disputed FROM thing WHERE kind = ?", kind)
    disputed = {row["id"] for row in rows if row["disputed"] != "[]"}
    others = names_of(view, known.field(known.within).of) if (known.within and known.field(known.within)) else {}  # type: ignore[union-attr]
    found = [Registered(id_, known.called(said), said, id_ in disputed) for id_, said in view.things(kind).items()]
    return sorted(
        found,
        key=lambda one: (in_order(others.get(str(one.values.get(known.within)))), in_order(one.called), one.id),
    )


def names_of(view: View, kind: str) -> dict[str, str]:
    """What people call the things of a kind, by id; one without a name is called by the end of its id."""
    return {id_: called(kind, id_, said) for id_, said in view.things(kind).items()}


def called(kind: str, id_: str, values: Mapping[str, Any]) -> str:
    return (REGISTER[kind].called(values) if kind in REGISTER else "") or f"…{id_[-4:]}"


def registered(view: View) -> dict[str, dict[str, str]]:
    """Of each kind that people enter, the names by id."""
    return {kind: names_of(view, kind) for kind in REGISTER}


def story_of(view: View, kind: str, id_: str) -> Story:
    """All that was said of a thing."""
    own = [entry for entry in view.ledger.about([id_]) if entry.kind == kind]
    around = own + view.ledger.mentioning([entry.digest for entry in own])
    sessions = view.sessions({entry.session for entry in around})
    return story(kind, id_, around, {id_: row.session for id_, row in sessions.items()})


def matters_about(view: View, kind: str, id_: str) -> list[MatterRow]:
    """Open matters about a thing: said differently by two, or of one name with another."""
    own = view.matters_of([f"{kind} {id_}"])
    names = view.rows("SELECT DISTINCT unit FROM matter WHERE kind = 'name' AND unit LIKE ?", f"name of {kind} %")
    shared = [matter for matter in view.matters_of([row["unit"] for row in names]) if id_ in matter.of]
    return [matter for matter in (*own, *shared) if matter.is_open]


def hanging_on(view: View, kind: str, id_: str) -> list[tuple[str, int]]:
    """What names a thing, and would name nothing were it taken back: pairs of kind and how many."""
    found = {
        other: sum(
            said.get(field.name) == id_ for field in known.fields if field.of == kind for said in view.things(other).values()
        )
        for other, known in REGISTER.items()
    }
    if kind in ("plot", "genotype"):
        found["coral"] = view.rows(f"SELECT count(*) AS n FROM coral WHERE {kind} = ?", id_)[0]["n"]
        column = {"plot": "unit", "genotype": "genotype"}[kind]
        found["coral"] += view.rows(f"SELECT count(*) AS n FROM counted WHERE {column} = ?", id_)[0]["n"]
    if kind == "site":
        found["session"] = view.rows("SELECT count(*) AS n FROM session WHERE site = ?", id_)[0]["n"]
    return [(other, n) for other, n in found.items() if n]
