"""What needs settling, the most valuable first; and what was settled, to be taken back."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from fieldkit.base import Base, MatterRow, Statement, View, find_matter, statement, take_back
from fieldkit.reports.matters import Card, called, cards
from fieldkit.server.card import Ruled, pressed, ruled, shown
from fieldkit.server.current import current_base, current_names
from fieldkit.server.errors import RequestError
from fieldkit.server.names import Names
from fieldkit.server.visitor import known_visitor

pages = Blueprint("matters", __name__)

AT_ONCE = 25  # cards on a page: more is a list to scroll, not work to do. Chosen by us.
SETTLED_AT_ONCE = 25
_WHO = "who"
_ANSWER = "matters.answer"
_YEAR_SECONDS = 365 * 24 * 60 * 60


@pages.get("/matters")
def show() -> str:
    """The open matters, and in a fold those settled last."""
    base, visitor = current_base(), known_visitor()
    with base.view() as view:
        names = current_names(view)
        found = _asked_for(view)
        here = found[:AT_ONCE]
        return render_template(
            "matters.html",
            cards=[shown(card, names) for card in here],
            corals={card.matter.id: _corals(view, card) for card in here if "place" in card.matter.answers},
            sites=sorted((said.get("name", id_), id_) for id_, said in view.things("site").items()),
            open=len(found),
            that_move=sum(card.touches_a_state for card in found),
            held={digest for card in here for seen in card.seen for digest in seen.photos if base.photos.has(digest)},
            settled=_settled(view, names),
            done=request.args.get("done"),
            who=visitor.name or request.cookies.get(_WHO, ""),
            may_sign=visitor.is_here,
            may_rule=visitor.may(_ANSWER, reads=False),
        )


@pages.post("/matters/<id_>/answer")
def answer(id_: str) -> Response:
    """Settle a matter, and show the next one."""
    base = current_base()
    who = _who()
    with base.view() as view:
        matter = find_matter(view, id_)
        following = _following(view, matter)
        said = statement(base, view, matter, pressed(request.form, matter))
    return _say(base, said, who, url_for("matters.show", done=id_, session=request.args.get("session"), _anchor=following))


@pages.post("/matters/<id_>/retract")
def retract(id_: str) -> Response:
    """Take back every ruling on a matter."""
    base = current_base()
    who = _who()
    with base.view() as view:
        said = take_back(view, find_matter(view, id_))
    return _say(base, said, who, url_for("matters.show", _anchor=f"m-{id_}"))


@pages.post("/matters/sign")
def sign() -> Response:
    """Say who sits at the base."""
    return _signed(redirect(url_for("matters.show"), 303), _who())


def _say(base: Base, said: Statement, who: str, then: str) -> Response:
    base.say([said], recorder=who)
    return _signed(redirect(then, 303), who)


def _signed(response: Response, who: str) -> Response:
    response.set_cookie(_WHO, who, max_age=_YEAR_SECONDS, httponly=True, samesite="Strict")
    return response


def _who() -> str:
    """Whoever signed in; at the laptop, whoever they say they are."""
    who = known_visitor().name or request.form.get("who", "").strip()
    if not 0 < len(who) <= 40:
        raise RequestError.of("pages.no_initials")
    return who


def _asked_for(view: View) -> list[Card]:
    """The open matters that the page shows: all of them, the one asked for, or those that one session has a part in."""
    session, matter = request.args.get("session"), request.args.get("matter")
    return [
        card
        for card in cards(view)
        if (session is None or session in _sessions(card)) and (matter is None or matter == card.matter.id)
    ]


def _sessions(card: Card) -> set[str | None]:
    return {card.matter.session, *(seen.session for seen in card.seen), *(row.session.id for row in card.sessions)}


def _corals(view: View, card: Card) -> list[tuple[str, str]]:
    """What a misread tag can be settled to: the corals of its plot, by what they are called."""
    return sorted((called(coral), coral["id"]) for coral in view.corals_of_plot(card.matter.unit))


def _following(view: View, matter: MatterRow) -> str | None:
    """Where the page goes on: the card that stands after this one."""
    order = [card.matter.id for card in _asked_for(view)]
    place = order.index(matter.id) if matter.id in order else len(order)
    following = order[place + 1 :][:1]
    return f"m-{following[0]}" if following else None


def _settled(view: View, names: Names) -> list[Ruled]:
    """The matters settled last, each with its ruling."""
    ruling_of = {matter.id: matter.ruling for matter in view.matters(settled=True) if matter.ruling}
    rulings = {entry.digest: entry for entry in view.ledger.with_digests(ruling_of.values())}
    newest = sorted(ruling_of, key=lambda id_: (-rulings[ruling_of[id_]].at, id_))[:SETTLED_AT_ONCE]
    found = {card.matter.id: card for card in cards(view, settled=True, ids=newest)}
    said_by = view.sessions({entry.session for entry in rulings.values()})
    corals = {coral["id"]: called(coral) for coral in view.corals({str(e.values.get("coral")) for e in rulings.values()})}
    told = []
    for id_ in newest:
        ruling = rulings[ruling_of[id_]]
        coral = corals.get(str(ruling.values.get("coral")), "")
        told.append(ruled(found[id_], ruling, said_by[ruling.session], coral, names))
    return told
