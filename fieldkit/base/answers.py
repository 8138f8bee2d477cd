"""How a person answers a matter: the statement that settles it, after everything that can be wrong with it was looked at."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from fieldkit.base.base import Base, Statement
from fieldkit.base.errors import SayError
from fieldkit.base.rows import CoralRow, MatterRow
from fieldkit.base.view import View
from fieldkit.errors import Fault, raise_all
from fieldkit.register.names import folded
from fieldkit.settle.calendar import day_of
from fieldkit.settle.camera import offset_of
from fieldkit.settle.matter import as_ruling, matter_id


@dataclass(frozen=True)
class Answer:
    """What a person answers; which of the keys are needed depends on the answer (docs/entries.md)."""

    answer: str
    values: Mapping[str, str] = field(default_factory=dict)
    """`use`: field to value."""
    coral: str | None = None
    """`place`: a coral's id, tag or position in the plot."""
    observation: str | None = None
    """The digest of the observation that is spoken of, or its beginning, where the matter is about several."""
    day: str | None = None
    site: str | None = None
    keep: str | None = None
    """`same_slate`: the session that stays, or the beginning of its id."""
    offset_s: str | None = None
    """`clock`: seconds to be added to what the camera told, or hours, minutes and seconds: `-1:12:40`."""
    why: str | None = None


def statement(base: Base, view: View, matter: MatterRow, given: Answer) -> Statement:
    """The ruling that this answer is. It takes the place of any earlier ruling on the matter.

    Raises:
        SayError: the answer does not fit the matter, or a key of it is missing or names nothing; says what would do.
    """
    if given.answer not in matter.answers:
        raise SayError.of("base.no_such_answer", answer=given.answer, kind=matter.kind, known=", ".join(matter.answers) or "-")
    keys = _KEYS.get(given.answer, _nothing)(base, view, matter, given)
    values = {"matter": matter.kind, "of": list(matter.of), "answer": given.answer, **keys}
    if given.why:
        values["why"] = given.why
    return Statement("ruling", values, tuple(_earlier(view, matter)))


def take_back(view: View, matter: MatterRow) -> Statement:
    """The statement that takes back every ruling on a matter; the state is then as it was before them.

    Raises:
        SayError: nobody has ruled on it.
    """
    earlier = _earlier(view, matter)
    if not earlier:
        raise SayError.of("base.nothing_to_take_back", matter=matter.id[:12])
    return Statement("retract", {}, tuple(earlier))


def take_back_together(view: View, matter: MatterRow) -> Statement:
    """The statement that takes back every ruling that was given in one go with the newest on this matter.

    Raises:
        SayError: nobody has ruled on it.
    """
    own = view.ledger.with_digests(take_back(view, matter).replaces)
    newest = max(own, key=lambda ruling: (ruling.at, ruling.digest))
    given = [entry for entry in view.ledger.of_sessions([newest.session]) if entry.kind == "ruling"]
    gone = {name for entry in view.ledger.mentioning([ruling.digest for ruling in given]) for name in entry.replaces}
    return Statement("retract", {}, tuple(sorted(ruling.digest for ruling in given if ruling.digest not in gone)))


def find_matter(view: View, beginning: str) -> MatterRow:
    """The one matter whose id begins so.

    Raises:
        SayError: none does, or several do.
    """
    found = view.matters_beginning(beginning) if beginning else []
    if len(found) != 1:
        key = "base.matter_of_several" if found else "base.no_matter"
        raise SayError.of(key, matter=beginning, known=", ".join(sorted(matter.id[:12] for matter in found)))
    return found[0]


def _earlier(view: View, matter: MatterRow) -> list[str]:
    """Digests of the rulings on this matter that nothing has taken the place of yet."""
    rulings = {
        entry.digest
        for entry in view.ledger.mentioning(matter.of)
        if (ruling := as_ruling(entry)) and matter_id(ruling.matter, ruling.of) == matter.id
    }
    replaced = {name for entry in view.ledger.mentioning(rulings) for name in entry.replaces}
    return sorted(rulings - replaced)


def _nothing(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    return {}


def _use(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:
    faults = []
    for name, value in given.values.items():
        known = _choices(base, view, matter, name)
        if name not in matter.fields:
            faults.append(Fault("base.field_agrees", {"name": name, "known": ", ".join(matter.fields)}))
        elif known and not set(value if isinstance(value, (list, tuple)) else [value]) <= set(known):
            faults.append(Fault("base.no_such_value", {"name": name, "value": value, "known": ", ".join(known)}))
    if not given.values:
        faults.append(Fault("base.no_values", {"known": ", ".join(matter.fields)}))
    raise_all(SayError, faults)
    return {"fields": dict(given.values)}


def _choices(base: Base, view: View, matter: MatterRow, name: str) -> list[str]:
    """The values that a field may have; none where any will do."""
    for row in view.observations(matter.of[:1]):
        session = view.sessions([row.session])[row.session].session
        protocol = base.protocol(session.values.get("protocol", ""))
        field_ = protocol.field(name) if protocol else None
        return [choice.value for choice in field_.values] if field_ else []
    return []


def _place(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    coral = {"coral": _coral(view, matter.unit, given.coral or "")}
    return coral | ({"observation": _one_of(matter.of, given.observation)} if len(matter.of) > 1 else {})


def _coral(view: View, plot: str, named: str) -> str:
    """A coral by id, or by what it is called in the plot."""
    corals = view.corals_of_plot(plot)
    called = {name: coral["id"] for coral in corals for name in (coral["position"], coral["tag"]) if name}
    by_fold = {folded(name): name for name in called}
    if folded(named) in by_fold:
        return str(called[by_fold[folded(named)]])
    if named and view.corals([named]):
        return named
    if len(next_door := corals_next_door(view, plot, named)) == 1:
        return next_door[0]["id"]
    near = [by_fold[fold] for fold in get_close_matches(folded(named), by_fold, n=3)]
    raise SayError.of("base.no_coral", named=named, known=", ".join(near or sorted(called)[:12]))


def corals_next_door(view: View, plot: str, tag: str) -> list[CoralRow]:
    """The corals of other plots of the same site that wear a tag, or wore it."""
    plots = view.things("plot")
    site = plots.get(plot, {}).get("site")
    corals = view.corals(view.corals_tagged(tag)) if site else []
    return [coral for coral in corals if coral["plot"] != plot and plots.get(coral["plot"] or "", {}).get("site") == site]


def _set_aside(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    must_say = matter.kind == "tag" and len(matter.of) > 1
    return {"observation": _one_of(matter.of, given.observation)} if must_say or given.observation else {}


def _same_slate(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    return {"keep": _one_of(matter.of, given.keep)}


def _both_stand(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    for name, said in matter.fields.items():
        if {"alive", "dead"} <= set(map(str, said.values())):
            raise SayError.of("base.alive_and_dead", name=name)
    return {}


def _day(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    if day_of(given.day) is None:
        raise SayError.of("base.no_day", value=given.day or "")
    return {"day": given.day}


def _site(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    sites = {id_: said.get("name", "") for id_, said in view.things("site").items()}
    for id_, called in sites.items():
        if given.site and (given.site == id_ or folded(given.site) == folded(called)):
            return {"site": id_}
    raise SayError.of("base.no_site", named=given.site or "", known=", ".join(sorted(sites.values())))


_HOURS = re.compile(r"([+-]?)(\d{1,6}):([0-5]\d)(?::([0-5]\d))?")


def _clock(base: Base, view: View, matter: MatterRow, given: Answer) -> dict[str, Any]:  # noqa: ARG001 - one form for all
    text = (given.offset_s or "").strip()
    if hours := _HOURS.fullmatch(text):
        sign, *parts = hours.groups(default="0")
        seconds = sum(int(part) * unit for part, unit in zip(parts, (3600, 60, 1), strict=True))
        text = str(-seconds if sign == "-" else seconds)
    offset = offset_of(text.removeprefix("+"))
    if offset is None:
        raise SayError.of("base.no_offset", value=given.offset_s or "")
    return {"offset_s": str(offset)}


def _one_of(names: Sequence[str], beginning: str | None) -> str:
    found = [name for name in names if beginning and name.startswith(beginning)]
    if len(found) != 1:
        raise SayError.of("base.name_one_of", given=beginning or "", known=", ".join(name[:12] for name in names))
    return found[0]


_KEYS = {
    "use": _use,
    "place": _place,
    "set_aside": _set_aside,
    "same_slate": _same_slate,
    "both_stand": _both_stand,
    "day": _day,
    "site": _site,
    "clock": _clock,
}
