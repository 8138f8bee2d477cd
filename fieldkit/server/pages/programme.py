"""The register: sites, plots, genotypes, nursery lots, permits and people, seen by all, entered and mended by a lead.

Whatever is entered, mended, taken back or undone is an entry beside those before it. A form says which statements it was
filled in upon; where others have come since, it is shown again instead of passing over them.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from fieldkit.base import Statement, View
from fieldkit.errors import Fault
from fieldkit.ledger import is_id, new_id
from fieldkit.register.fields import REGISTER, name_taken, read_form, shown_in_form
from fieldkit.register.versions import Said, Story
from fieldkit.reports.programme import called, hanging_on, of_kind, outplantings, overview, registered, story_of
from fieldkit.reports.programme.overview import lots, permits
from fieldkit.reports.programme.things import matters_about
from fieldkit.server.current import current_base, current_names
from fieldkit.server.errors import NotYoursError, RequestError
from fieldkit.server.language import reader
from fieldkit.server.register_words import RegisterWords
from fieldkit.server.signature import signature, signed, signer
from fieldkit.server.visitor import known_visitor

pages = Blueprint("programme", __name__)

_SAVE = "programme.save"
_HELPED = frozenset(
    {"latitude", "uncertainty_m", "position_from", "time_zone", "followed", "species_id", "limits", "ready", "consent"}
)
"""Fields that need a word of help."""
_MOST_OFFERED = 50
"""Words that a field offers to pick from. Chosen by us."""


@pages.get("/programme")
def show() -> str:
    """The programme at a glance."""
    today = date.today().isoformat()
    with current_base().view() as view:
        return render_template(
            "programme/overview.html",
            found=overview(view, today),
            outplantings=outplantings(view),
            names=registered(view),
            kinds=tuple(REGISTER),
            words=_words(view),
            may_change=_may_change(),
        )


@pages.get("/programme/<kind>")
def listed(kind: str) -> str:
    """All things of a kind."""
    known = REGISTER.get(kind) or abort(404)
    today = date.today().isoformat()
    with current_base().view() as view:
        return render_template(
            "programme/list.html",
            kind=known,
            things=of_kind(view, kind),
            stocks={lot.id: lot.stock for lot in lots(view)} if kind == "lot" else {},
            permits={permit.id: permit for permit in permits(view, today)} if kind == "permit" else {},
            words=_words(view),
            may_change=_may_change(),
            today=today,
        )


@pages.get("/programme/<kind>/<id_>")
def thing(kind: str, id_: str) -> str:
    """One thing: what is known of it, what belongs to it, and all that was ever said of it."""
    known = REGISTER.get(kind) or abort(404)
    with current_base().view() as view:
        told = _story(view, kind, id_)
        if not told.versions:
            abort(404)
        names = current_names(view)
        return render_template(
            "programme/thing.html",
            kind=known,
            id=id_,
            story=told,
            called=called(kind, id_, told.values or told.versions[-1].entry.values),
            inside=_inside(view, kind, id_),
            matters=matters_about(view, kind, id_),
            hanging=[reader().text(f"programme.n_{other}", n=n) for other, n in hanging_on(view, kind, id_)],
            lot=next((lot for lot in lots(view) if lot.id == id_), None) if kind == "lot" else None,
            permit=_permit(view, id_) if kind == "permit" else None,
            words=_words(view),
            why=names.why,
            done=request.args.get("done"),
            who=signer(),
            may_change=_may_change(),
        )


@pages.get("/programme/<kind>/new")
def new(kind: str) -> str:
    """A form for a new thing; what stands in the address is filled in already."""
    _only_who_may_change()
    known = REGISTER.get(kind) or abort(404)
    given = {field.name: request.args.get(field.name, "") for field in known.fields}
    with current_base().view() as view:
        return _form(view, Story(kind, new_id(_now()), (), {}, ()), given, {})


@pages.get("/programme/<kind>/<id_>/change")
def change(kind: str, id_: str) -> str:
    """The same form for a thing that is there."""
    _only_who_may_change()
    known = REGISTER.get(kind) or abort(404)
    with current_base().view() as view:
        told = _story(view, kind, id_)
        if not told.is_there:
            abort(404)
        return _form(view, told, {one.name: shown_in_form(one, told.values.get(one.name)) for one in known.fields}, {})


@pages.post("/programme/<kind>/<id_>/change")
def save(kind: str, id_: str) -> Response | tuple[str, int]:
    """Enter a thing, or mend it; with faults the form comes back as it was filled in, and nothing is written."""
    known = REGISTER.get(kind) or abort(404)
    who = signature()
    with current_base().view() as view:
        told = _story(view, kind, id_)
        filled = read_form(known, request.form, {one: view.things(one).keys() for one in REGISTER}, told.values)
        faults = dict(filled.faults)
        if not faults:
            faults |= _faults_beside_others(view, told, filled.values)
        if faults:
            return _form(view, told, request.form, faults), 400
        said = told.mended(filled.values)
    return _say(said, who, kind, id_)


@pages.post("/programme/<kind>/<id_>/undo")
def undo(kind: str, id_: str) -> Response:
    """Say again what stood before the last statement."""
    return _say_of(kind, id_, lambda told: told.undone())


@pages.post("/programme/<kind>/<id_>/take-back")
def take_back(kind: str, id_: str) -> Response:
    """Take a thing out of the register; its history stays, and it can be brought back."""
    return _say_of(kind, id_, lambda told: told.taken_back())


def _say_of(kind: str, id_: str, statements: Any) -> Response:
    if kind not in REGISTER:
        abort(404)
    who = signature()
    with current_base().view() as view:
        said = statements(_story(view, kind, id_))
    if not said:
        raise RequestError.of("programme.nothing_to_do")
    return _say(said, who, kind, id_)


def _say(said: Iterable[Said], who: str, kind: str, id_: str) -> Response:
    statements = [Statement(*one) for one in said]
    if statements:
        current_base().say(statements, recorder=who)
    return signed(redirect(url_for("programme.thing", kind=kind, id_=id_, done="1" if statements else None), 303), who)


def _story(view: View, kind: str, id_: str) -> Story:
    if not is_id(id_):
        abort(404)
    return story_of(view, kind, id_)


def _faults_beside_others(view: View, told: Story, values: Mapping[str, Any]) -> dict[str, Fault]:
    """What is wrong with right values, given what else the register holds."""
    known = REGISTER[told.kind]
    if request.form.get("upon", "") != _upon(told) and told.mended(values):
        return {"": Fault("programme.changed_meanwhile")}
    other = name_taken(known, values, told.id, view.things(told.kind))
    return {known.named_by[0]: Fault("programme.name_taken", {"name": known.called(values)})} if other else {}


def _form(view: View, told: Story, given: Mapping[str, str], faults: Mapping[str, Fault]) -> str:
    known = REGISTER[told.kind]
    words = _words(view)
    disputed = {
        name: [words.value(known.field(name), one.entry.values[name]) for one in told.heads if name in one.entry.values]
        for name in told.disputed
    }
    return render_template(
        "programme/form.html",
        kind=known,
        id=told.id,
        is_new=not told.versions,
        called=called(told.kind, told.id, told.values),
        given={field.name: given.get(field.name, "") for field in known.fields},
        faults={name: fault.text(reader().language) for name, fault in faults.items()},
        disputed=disputed,
        helped=_HELPED,
        choices=registered(view),
        used=_used(view, told.kind),
        upon=_upon(told),
        words=words,
        who=signer(),
    )


def _upon(told: Story) -> str:
    """The statements that a form is filled in upon."""
    return " ".join(sorted(one.entry.digest[:16] for one in told.heads))


def _used(view: View, kind: str) -> dict[str, list[str]]:
    """Words that other things of the kind use in their text fields, to pick from."""
    found: dict[str, set[str]] = {field.name: set() for field in REGISTER[kind].fields if field.kind == "text"}
    for said in view.things(kind).values():
        for name, words in found.items():
            if isinstance(said.get(name), str):
                words.add(said[name])
    unique = {*REGISTER[kind].named_by, "code"}
    return {name: sorted(words)[:_MOST_OFFERED] for name, words in found.items() if words and name not in unique}


def _inside(view: View, kind: str, id_: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """What names this thing, kind by kind: a site's plots, a genotype's lots."""
    found = []
    for other, known in REGISTER.items():
        fields = [field.name for field in known.fields if field.of == kind]
        there = [(one.id, one.called) for one in of_kind(view, other) if any(one.values.get(name) == id_ for name in fields)]
        if there:
            found.append((other, there))
    return found


def _permit(view: View, id_: str) -> Any:
    return next((one for one in permits(view, date.today().isoformat()) if one.id == id_), None)


def _words(view: View) -> RegisterWords:
    return RegisterWords(reader(), registered(view))


def _may_change() -> bool:
    return known_visitor().may(_SAVE, reads=False)


def _only_who_may_change() -> None:
    if not _may_change():
        raise NotYoursError.of("pages.not_yours", role=known_visitor().role)


def _now() -> int:
    return time.time_ns() // 1_000_000
