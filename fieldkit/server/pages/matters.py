"""What needs settling, the most valuable first; and what was settled, to be taken back."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from fieldkit.base import (
    Base,
    MatterRow,
    Statement,
    View,
    corals_next_door,
    find_matter,
    statement,
    take_back,
    take_back_together,
)
from fieldkit.ledger import Entry
from fieldkit.reports.alike import rulings_alike, sheets, together
from fieldkit.reports.lookalikes import Shows, claimed_besides
from fieldkit.reports.matters import Card, Listed, answered_differently, called, cards, listed
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer as tell
from fieldkit.server.card import Ruled, pressed, ruled, shown
from fieldkit.server.current import current_base, current_names
from fieldkit.server.kept import Waiting, kept
from fieldkit.server.names import Names
from fieldkit.server.signature import signature, signed, signer
from fieldkit.server.visitor import known_visitor
from fieldkit.settle.matter import matter_id

pages = Blueprint("matters", __name__)

AT_ONCE = 25  # cards on a page: more is a list to scroll, not work to do. Chosen by us.
SETTLED_AT_ONCE = 25
SPAN_DAYS = 365  # the age at which the page tells how far settling can move survival: the one most reports give
_ANSWER = "matters.answer"


@pages.get("/matters")
def show() -> str:
    """The open matters, and in a fold those settled last."""
    base, visitor = current_base(), known_visitor()
    with base.view() as view:
        names = current_names(view)
        found = _asked_for(view)
        alike = _alike(view)
        page, pages_ = _page(len(found))
        shown_ids = [one.matter.id for one in found[(page - 1) * AT_ONCE : page * AT_ONCE]]
        here = cards(view, ids=shown_ids)
        besides = _besides(base, view, here)
        return render_template(
            "matters.html",
            cards=[shown(card, names) for card in here],
            corals=_corals(view, here),
            sites=sorted((said.get("name", id_), id_) for id_, said in view.things("site").items()),
            open=len(found),
            first=(page - 1) * AT_ONCE + 1,
            page=page,
            pages=pages_,
            alike={id_: len(alike[id_]) - 1 for id_ in shown_ids if id_ in alike},
            span=_span(view),
            was=_was(),
            that_move=sum(card.touches_a_state for card in found),
            besides=besides,
            differ={card.matter.id: _differ(view, card.matter, names) for card in here if card.matter.kind == "rulings_differ"},
            held={digest for digest in _photos(here, besides) if base.photos.has(digest)},
            settled=_settled(view, names),
            done=request.args.get("done"),
            together=request.args.get("together", type=int),
            who=signer(),
            may_sign=visitor.is_here,
            may_rule=visitor.may(_ANSWER, reads=False),
        )


@pages.post("/matters/<id_>/answer")
def answer(id_: str) -> Response:
    """Settle a matter, and those alike where that was asked, and show the next one."""
    base = current_base()
    who = signature()
    with base.view() as view:
        matter = find_matter(view, id_)
        given = pressed(request.form, matter)
        said = [statement(base, view, matter, given)]
        if "alike" in request.form:
            said += rulings_alike(base, view, matter, given)
        following = _following(view, matter, {matter_id(one.values["matter"], one.values["of"]) for one in said})
        span = _span(view)
    then = url_for(
        "matters.show",
        done=id_,
        session=request.args.get("session"),
        was=f"{span[0]}-{span[1]}" if span else None,
        together=len(said) if len(said) > 1 else None,
        **following,
    )
    return _say(base, said, who, then)


@pages.post("/matters/<id_>/retract")
def retract(id_: str) -> Response:
    """Take back every ruling on a matter, and those that were given together with it where that was asked."""
    base = current_base()
    who = signature()
    with base.view() as view:
        matter = find_matter(view, id_)
        said = [take_back_together(view, matter) if "together" in request.form else take_back(view, matter)]
    return _say(base, said, who, url_for("matters.show", _anchor=f"m-{id_}"))


@pages.post("/matters/sign")
def sign() -> Response:
    """Say who sits at the base."""
    return signed(redirect(url_for("matters.show"), 303), signature())


def _say(base: Base, said: Sequence[Statement], who: str, then: str) -> Response:
    base.say(said, recorder=who)
    return signed(redirect(then, 303), who)


def _open(view: View) -> list[Listed]:
    """All open matters in their order, listed once however many pages are turned."""
    return kept().now(view, "open matters", listed)


def _alike(view: View) -> Mapping[str, Sequence[str]]:
    """By matter, all alike."""
    return kept().now(view, "matters alike", lambda some: together(sheets(some, _open(some))))


def _asked_for(view: View) -> list[Listed]:
    """The open matters that are asked for: all of them, one, or those that one session has a part in."""
    session, matter = request.args.get("session"), request.args.get("matter")
    return [
        one
        for one in _open(view)
        if (session is None or session in one.matter.sessions) and (matter is None or matter == one.matter.id)
    ]


def _page(matters: int) -> tuple[int, int]:
    """The part of the list that is asked for, and how many there are; a part past the last is the last."""
    parts = max(1, -(-matters // AT_ONCE))
    return min(max(request.args.get("page", 1, type=int), 1), parts), parts


def _besides(base: Base, view: View, here: Sequence[Card]) -> dict[str, list[Shows]]:
    """By matter, what else the pictures of its rows are said to show: of two tags on one picture one was likely misread."""
    told = claimed_besides(view, base.looks, {photo for card in here for seen in card.seen for photo in seen.photos})
    found = {}
    for card in here:
        own = {seen.line for seen in card.seen}
        others = {one.line: one for seen in card.seen for photo in seen.photos for one in told[photo] if one.line not in own}
        found[card.matter.id] = [one for one in others.values() if one.called not in card.corals]
    return found


def _photos(here: Iterable[Card], besides: Mapping[str, Iterable[Shows]]) -> set[str]:
    of_rows = {digest for card in here for seen in card.seen for digest in seen.photos}
    of_clocks = {shot.photo for card in here for shot in card.shots}
    return of_rows | of_clocks | {one.photo for told in besides.values() for one in told}


def _corals(view: View, here: Iterable[Card]) -> dict[str, list[tuple[str, str]]]:
    """By matter, what a misread tag can be settled to: the corals of its plot, by what they are called, and after them those of
    other plots of the site that wear the tag as noted."""
    asked = [card for card in here if "place" in card.matter.answers]
    plots = {card.matter.unit for card in asked}
    of_plot = {plot: sorted((called(coral), coral["id"]) for coral in view.corals_of_plot(plot)) for plot in plots}
    names = {id_: str(said.get("name", "")) for id_, said in view.things("plot").items()}
    return {
        card.matter.id: of_plot[card.matter.unit]
        + [
            (f"{called(coral)} ({names.get(coral['plot'] or '', '')})", coral["id"])
            for noted in sorted({seen.noted for seen in card.seen if seen.noted})
            for coral in corals_next_door(view, card.matter.unit, noted)
        ]
        for card in asked
    }


def _following(view: View, matter: MatterRow, settled: Container[str]) -> dict[str, Any]:
    """Where the page goes on, as `url_for` takes it: at the card that stands after this one and is still open."""
    order = [one.matter.id for one in _asked_for(view)]
    place = order.index(matter.id) if matter.id in order else len(order)
    before = sum(id_ not in settled for id_ in order[:place])
    following = next((id_ for id_ in order[place + 1 :] if id_ not in settled), None)
    if following is None:
        return {}
    return {"page": before // AT_ONCE + 1 if before >= AT_ONCE else None, "_anchor": f"m-{following}"}


def _span(view: View) -> tuple[float, float] | None:
    """Between what settling could bring survival of all corals to at a year of age, in per cent; None: it is not known yet."""
    question = Question(at=(SPAN_DAYS,), limits="none")
    found = kept().at_once_or_soon(view, "span of open matters", lambda view: tell(view, question, None))
    told = [at for group in found["groups"] for at in group["missing_lost"]["at"]] if not isinstance(found, Waiting) else []
    ends = [end for at in told for end in (at["known_at"] or at)["range"] if end is not None]
    return (round(100 * min(ends), 1), round(100 * max(ends), 1)) if ends else None


def _was() -> tuple[float, float] | None:
    """The same before the last answer, as the address tells it."""
    try:
        low, high = map(float, request.args.get("was", "").split("-"))
    except ValueError:
        return None
    return (low, high) if 0 <= low <= high <= 100 else None


def _differ(view: View, matter: MatterRow, names: Names) -> tuple[str, list[Ruled]]:
    """Of rulings that differ: the matter that they answer, and what each says."""
    id_, rulings = answered_differently(view, matter)
    return id_, _told(view, [(id_, ruling) for ruling in rulings], names)


def _settled(view: View, names: Names) -> list[Ruled]:
    """The matters settled last, each with its ruling."""
    newest = view.settled_last(SETTLED_AT_ONCE)
    ruling_of = {matter.id: str(matter.ruling) for matter in view.matters(settled=True, ids=newest)}
    rulings = {entry.digest: entry for entry in view.ledger.with_digests(ruling_of.values())}
    return _told(view, [(id_, rulings[ruling_of[id_]]) for id_ in newest], names)


def _told(view: View, answered: Sequence[tuple[str, Entry]], names: Names) -> list[Ruled]:
    """Answers to matters as people read them; of a matter that is gone nothing is told."""
    found = {card.matter.id: card for card in cards(view, settled=True, ids=[id_ for id_, _ in answered])}
    said_by = view.sessions({ruling.session for _, ruling in answered})
    corals = {coral["id"]: called(coral) for coral in view.corals({str(one.values.get("coral")) for _, one in answered})}
    return [
        ruled(found[id_], ruling, said_by[ruling.session], corals.get(str(ruling.values.get("coral")), ""), names)
        for id_, ruling in answered
        if id_ in found
    ]
