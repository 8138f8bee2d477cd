"""Matters that are alike: of one kind, for one reason, on one sheet; and what one answer to one of them says of the others.

A first import, or a camera that was off all day, opens many such questions, and a person answers them as one. Each gets a
ruling of its own, so that each can be taken back alone, and what an answer cannot be of stays open.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any, TypeAlias

from fieldkit.base import Answer, Base, MatterInBrief, MatterRow, SayError, SessionRow, Statement, View, statement
from fieldkit.reports.matters import Card, Listed, cards, listed
from fieldkit.reports.suggestions import Suggested

Sheet: TypeAlias = tuple[str, ...]

SURE = 0.95
"""From this probability on a suggestion is followed together with others. Chosen by us: less is looked at one by one."""

_WHOLE = ("stands", "both_stand", "swap", "day", "site", "clock")
"""Answers that say the same of every matter that takes them."""


def sheets(view: View, asked: Iterable[Listed]) -> dict[str, Sheet]:
    """By the matter's id, the kind, the reason and the sheet that it shares with those alike; none where it has no sheet."""
    asked = list(asked)
    sessions = view.sessions({session for one in asked for session in one.matter.sessions})
    matters = [one.matter for one in asked]
    return {matter.id: (matter.kind, matter.why, *sheet) for matter in matters if (sheet := _sheet(matter, sessions))}


def _sheet(one: MatterInBrief, sessions: Mapping[str, SessionRow]) -> Sheet:
    """The imported file, else the slates that disagree, else the slate on which it came to light; of whole sessions the day of
    their device."""
    rows = [sessions[id_] for id_ in one.sessions if id_ in sessions]
    if not rows:
        return ()
    newest = max(rows, key=lambda row: (row.day or "", row.session.id))
    if one.is_about_sessions:
        return ("device", newest.session.device or "", newest.day or "") if len(rows) == 1 else ()
    if import_ := newest.session.of_import:
        return ("import", import_)
    if one.kind == "double":
        return ("sessions", *sorted(row.session.id for row in rows))
    return ("session", newest.session.id)


def together(sheet_of: Mapping[str, Sheet]) -> dict[str, Sequence[str]]:
    """By the matter's id, the ids of all alike, itself among them; one that is alone is left out."""
    found: dict[Sheet, list[str]] = defaultdict(list)
    for id_, sheet in sheet_of.items():
        found[sheet].append(id_)
    return {id_: same for same in found.values() if len(same) > 1 for id_ in same}


def same_answer(card: Card, given: Answer, other: Card) -> Answer | None:
    """What the answer given to one matter says of another; None where it says nothing of it.

    Whoever follows a suggestion follows those of the others, too, where they are sure. Whoever finds one session right in a
    double finds it right in all.
    """
    found = _same_answer(card, given, other)
    return found if found and found.answer in other.matter.answers else None


def _same_answer(card: Card, given: Answer, other: Card) -> Answer | None:
    if card.suggestion and _follows(given, card.suggestion):
        return _as_suggested(other.suggestion, given)
    if given.answer in _WHOLE:
        return given
    if given.answer == "set_aside":
        return _of_same_session(card, given, other) if given.observation else given
    if given.answer == "use":
        return _right_in_all(card, given, other)
    return None


def _follows(given: Answer, suggestion: Suggested) -> bool:
    names = [name for name in suggestion.keys if name != "fields"]
    said = {name: getattr(given, name) for name in names} | ({"fields": given.values} if "fields" in suggestion.keys else {})
    return given.answer == suggestion.answer and said == dict(suggestion.keys)


def _as_suggested(suggestion: Suggested | None, given: Answer) -> Answer | None:
    if suggestion is None or suggestion.answer != given.answer or (suggestion.probability or 1.0) < SURE:
        return None
    keys = {"values" if name == "fields" else name: value for name, value in suggestion.keys.items()}
    return Answer(suggestion.answer, why=given.why, **keys)


def _of_same_session(card: Card, given: Answer, other: Card) -> Answer | None:
    session = next((seen.session for seen in card.seen if seen.digest == given.observation), None)
    found = [seen.digest for seen in other.seen if seen.session == session]
    return replace(given, observation=found[0]) if len(found) == 1 else None


def _right_in_all(card: Card, given: Answer, other: Card) -> Answer | None:
    right = {session for session in {seen.session for seen in card.seen} if _said_in(card, session) == dict(given.values)}
    if len(right) != 1:
        return None  # a mixture, or a value that nobody noted
    said = _said_in(other, right.pop())
    return replace(given, values=said) if said.keys() == other.matter.fields.keys() else None


def _said_in(card: Card, session: str) -> dict[str, Any]:
    """What a session says of the fields in question."""
    digests = [seen.digest for seen in card.seen if seen.session == session]
    return {name: said[digest] for name, said in card.matter.fields.items() for digest in digests if digest in said}


def rulings_alike(base: Base, view: View, matter: MatterRow, given: Answer) -> list[Statement]:
    """The rulings that the same answer gives on the open matters alike; what it cannot be said of stays open."""
    alike = together(sheets(view, listed(view))).get(matter.id, ())  # nothing is like one that is ruled anew
    found = {card.matter.id: card for card in cards(view, ids=alike)}
    said = []
    for id_, other in found.items():
        if id_ != matter.id and (answer := same_answer(found[matter.id], given, other)):
            with suppress(SayError):  # alive against dead cannot both stand
                said.append(statement(base, view, other.matter, answer))
    return said
