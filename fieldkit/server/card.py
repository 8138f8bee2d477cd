"""A matter as a card: what is said side by side in the reader's words, and what can be pressed. Pure.

What a button says when it is pressed stands whole in its value, as a query string (`answer=use&observation=…`), not as a place
in a list: what has changed since the card was drawn must not give a press another meaning. Values are named by the observation
that holds them, so that lists and counts come through as they were noted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qsl, urlencode

from fieldkit.base import Answer, MatterRow, SessionRow
from fieldkit.ledger import Entry
from fieldkit.reports.matters import Card, Shot
from fieldkit.reports.suggestions import Suggested
from fieldkit.server.names import Names
from fieldkit.settle.camera import time_of

_SESSION_FIELDS = ("recorder", "typed_by", "day", "dive", "round")

_SURE = 0.99  # beyond this a probability is not told: nobody measured the model that finely

# What an answer needs besides; what it does not need is not read, though the form of the card holds it.
_KEYS: Mapping[str, tuple[str, ...]] = {
    "place": ("coral", "observation"),
    "set_aside": ("observation",),
    "same_slate": ("keep",),
    "day": ("day",),
    "site": ("site",),
    "clock": ("offset_s",),
}
_ASKED = ("place", "day", "site", "clock")


@dataclass(frozen=True)
class Column:
    """What one session said."""

    who: str
    day: str
    noted: str
    photos: tuple[str, ...]


@dataclass(frozen=True)
class Line:
    """One field: what each column says of it, and what the last visit said."""

    name: str
    cells: tuple[str, ...]
    last: str


@dataclass(frozen=True)
class Press:
    """One button."""

    says: str
    text: str
    suggested: bool = False


@dataclass(frozen=True)
class Pick:
    """A field whose value can be picked, or typed, by itself."""

    name: str
    label: str
    values: tuple[tuple[str, str], ...]
    """Pairs of what the form sends and what is read: an observation's digest for what it says, `=` and a value for another."""
    is_typed: bool
    """Whether another value can be written: a measured field has no list."""


@dataclass(frozen=True)
class Shown:
    """A card in the reader's words."""

    id: str
    title: str
    place: str
    kind: str
    why: str
    columns: tuple[Column, ...]
    lines: tuple[Line, ...]
    """What the matter is about."""
    others: tuple[Line, ...]
    """Whatever else was noted."""
    last_day: str
    """The day of the last visit; empty: there was none, or none that tells."""
    last_state: str
    suggestion: str
    presses: tuple[Press, ...]
    picks: tuple[Pick, ...]
    """Fields that can be settled one by one."""
    asks: tuple[str, ...]
    """Answers that ask for something: place (a coral), day, site."""
    day: str
    """The day in question as a date field takes it; empty: not known."""
    shots: tuple[Shot, ...]
    observations: tuple[tuple[str, str], ...]
    """Where a pick is about one of several observations: pairs of digest and who."""


def shown(card: Card, names: Names) -> Shown:
    """The card of a matter."""
    card = _in_order(card)
    columns = _columns(card, names)
    lines, others = _lines(card, names)
    last_day = card.last_visit.get("day")
    t = names.reader.text
    return Shown(
        id=card.matter.id,
        title=_title(card, columns, names),
        place=_place(card),
        kind=t(f"pages.kind_{card.matter.kind}"),
        why=names.why(card.matter.why),
        columns=columns,
        lines=tuple(lines),
        others=tuple(others),
        last_day=names.reader.day(last_day) if last_day else "",
        last_state=names.value(names.status(), card.last_visit.get("state")),
        suggestion=_suggestion(card, names),
        presses=tuple(_presses(card, columns, names)),
        picks=tuple(_pick(card, name, names) for name in card.matter.fields) if "use" in card.matter.answers else (),
        asks=tuple(answer for answer in _ASKED if answer in card.matter.answers),
        day=next((row.day for row in card.sessions if row.day), ""),
        shots=card.shots,
        observations=tuple((seen.digest, column.who) for seen, column in zip(card.seen, columns, strict=False))
        if len(card.seen) > 1 and "place" in card.matter.answers
        else (),
    )


def _in_order(card: Card) -> Card:
    """Who spoke first stands first."""
    seen = sorted(card.seen, key=lambda seen: (seen.day, seen.recorder, seen.digest))
    sessions = sorted(card.sessions, key=lambda row: (row.day or "", _typist(row), row.session.id))
    return replace(card, seen=tuple(seen), sessions=tuple(sessions))


def _columns(card: Card, names: Names) -> tuple[Column, ...]:
    reader = names.reader
    said = [(seen.recorder, seen.day, seen.noted, seen.photos) for seen in card.seen]
    said = said or [(_typist(row), row.day or "", "", ()) for row in card.sessions]
    whose = _told_apart([(who or reader.text("pages.somebody"), day) for who, day, _, _ in said])
    return tuple(
        Column(who, reader.day(day or None), noted, photos) for who, (_, day, noted, photos) in zip(whose, said, strict=True)
    )


def _typist(row: SessionRow) -> str:
    return str(row.session.values.get("typed_by") or row.session.values.get("recorder") or "")


def _told_apart(people: Sequence[tuple[str, str]]) -> list[str]:
    """Their names, with numbers where one spoke twice on a day."""
    often, so_far, found = Counter(people), Counter[tuple[str, str]](), []
    for one in people:
        so_far[one] += 1
        found.append(f"{one[0]} ({so_far[one]})" if often[one] > 1 else one[0])
    return found


def _place(card: Card) -> str:
    return " · ".join(part for part in (card.plot, card.site) if part)


def _title(card: Card, columns: Sequence[Column], names: Names) -> str:
    noted = list(dict.fromkeys(column.noted for column in columns if column.noted))
    counted = list(
        dict.fromkeys(names.value("genotype", seen.values["genotype"]) for seen in card.seen if "genotype" in seen.values)
    )
    about = noted if card.matter.kind == "tag" else list(card.corals) or noted
    if about or counted:
        return ", ".join(about or counted)
    who = names.reader.list([column.who for column in columns])
    return names.reader.text("pages.session_of", n=len(columns), who=who)


def _lines(card: Card, names: Names) -> tuple[list[Line], list[Line]]:
    """The fields that the matter is about, and all others that anything was noted of, in the order of the protocol."""
    said: list[Mapping[str, Any]] = [seen.values for seen in card.seen] or [row.session.values for row in card.sessions]
    fields = sorted({name for values in said for name in values}, key=names.place)
    if not card.seen:
        fields = [name for name in _SESSION_FIELDS if name in fields]
    cells = {name: tuple(names.value(name, values.get(name)) for values in said) for name in fields}
    about = _about(card, cells, names)
    lines = {name: Line(names.field(name), cells[name], names.value(name, _last(card, name, names))) for name in fields}
    return [lines[name] for name in fields if name in about], [lines[name] for name in fields if name not in about]


def _about(card: Card, cells: Mapping[str, Sequence[str]], names: Names) -> Collection[str]:
    """The names of the fields that a matter is about."""
    if card.matter.fields:
        return card.matter.fields
    if card.matter.kind == "history":
        return [name for name in cells if names.is_status(name)]
    return [name for name, told in cells.items() if len(set(told)) > 1]


def _last(card: Card, name: str, names: Names) -> Any:
    return card.last_visit.get("state" if names.is_status(name) else name)


def _suggestion(card: Card, names: Names) -> str:
    """What is suggested, how likely it is where that is known, and why."""
    if card.suggestion is None:
        return ""
    told, likely = _suggested_answer(card.suggestion, names), card.suggestion.probability
    if likely is None:
        suggested = names.reader.text("pages.suggested", answer=told)
    else:
        probability = names.reader.percent(min(likely, _SURE), 0)
        sure = f"> {probability}" if likely > _SURE else probability
        suggested = names.reader.text("pages.suggested_likely", answer=told, probability=sure)
    return " ".join([suggested, *(names.why(reason) for reason in card.suggestion.why)])


def _suggested_answer(suggestion: Suggested, names: Names) -> str:
    t = names.reader.text
    if suggestion.answer == "place":
        return t("pages.press_place", coral=suggestion.label)
    if suggestion.answer == "day":
        return t("pages.press_that_day", day=names.reader.day(suggestion.label))
    if suggestion.answer == "site":
        return t("pages.press_that_site", site=suggestion.label)
    if suggestion.answer == "clock":
        return t("pages.press_that_clock", offset=names.offset(suggestion.label))
    return names.answer(suggestion.answer)


def _presses(card: Card, columns: Sequence[Column], names: Names) -> Iterator[Press]:
    """The buttons of a card: first what is suggested and has none of its own, then the matter's answers in their order."""
    suggestion = card.suggestion
    if suggestion and suggestion.answer in _ASKED and suggestion.answer in card.matter.answers:
        yield Press(_says(suggestion.answer, suggestion.keys), _suggested_answer(suggestion, names), suggested=True)
    for answer in card.matter.answers:
        for keys, press in _offers(answer, card, columns, names):
            yield replace(
                press, suggested=suggestion is not None and (suggestion.answer, dict(suggestion.keys)) == (answer, keys)
            )


def _offers(answer: str, card: Card, columns: Sequence[Column], names: Names) -> Iterator[tuple[dict[str, Any], Press]]:
    """The buttons that give one answer, each with the keys of the ruling that it makes."""
    t = names.reader.text
    if answer == "use":
        yield from _uses(card, columns, names)
    elif answer == "same_slate":
        for row, column in zip(card.sessions, columns, strict=True):
            keys = {"keep": row.session.id}
            yield keys, Press(_says(answer, keys), t("pages.press_same_slate", who=column.who))
    elif answer == "set_aside" and len(card.seen) > 1 and card.matter.kind in ("tag", "history"):
        for seen, column in zip(card.seen, columns, strict=True):
            keys = {"observation": seen.digest}
            yield keys, Press(_says(answer, keys), t("pages.press_set_aside_one", who=column.who, day=column.day))
    elif answer in ("both_stand", "stands", "set_aside", "swap") and not _is_alive_against_dead(answer, card):
        yield {}, Press(_says(answer, {}), t(f"pages.press_{answer}"))


def _is_alive_against_dead(answer: str, card: Card) -> bool:
    said = (set(map(str, values.values())) for values in card.matter.fields.values())
    return answer == "both_stand" and any({"alive", "dead"} <= values for values in said)


def _uses(card: Card, columns: Sequence[Column], names: Names) -> Iterator[tuple[dict[str, Any], Press]]:
    """For each observation one button: what it says counts."""
    for seen, column in zip(card.seen, columns, strict=True):
        values = {name: said[seen.digest] for name, said in card.matter.fields.items() if seen.digest in said}
        if values:
            told = names.reader.list([names.value(name, value) for name, value in values.items()])
            text = names.reader.text("pages.press_use", who=column.who, values=told)
            yield {"fields": values}, Press(_says("use", {"observation": seen.digest}), text)


def _pick(card: Card, name: str, names: Names) -> Pick:
    """What a field can be settled to: first what was said, then whatever else the protocol lists."""
    said = card.matter.fields[name]
    texts = {names.value(name, said[seen.digest]): seen.digest for seen in reversed(card.seen) if seen.digest in said}
    values = [(digest, text) for text, digest in reversed(texts.items())]
    values += [(f"={value}", text) for value, text in names.choices(name) if text not in texts]
    return Pick(name, names.field(name), tuple(values), names.is_measured(name))


def _says(answer: str, keys: Mapping[str, str]) -> str:
    return urlencode({"answer": answer, **keys})


def pressed(form: Mapping[str, str], matter: MatterRow) -> Answer:
    """The answer that a card's form gives: what its button says, and what was picked or written beside it."""
    says = dict(parse_qsl(form.get("says", "")))
    answer = says.get("answer", "")
    keys = {name: value for name in _KEYS.get(answer, ()) if (value := says.get(name) or form.get(name))}
    if answer == "clock" and "offset_s" not in keys:
        keys["offset_s"] = _offset(form)
    values = _values(says.get("observation"), form, matter) if answer == "use" else {}
    return Answer(answer, values=values, why=form.get("why", "").strip() or None, **keys)


def _offset(form: Mapping[str, str]) -> str:
    """What the watch showed less what the camera told, in seconds; what cannot be read as it was written, to be refused so."""
    told, true = time_of(form.get("camera_told")), form.get("true_time", "")
    watch = time_of(true if len(true) == 19 else f"{true}:00")  # browsers leave seconds out where there are none
    return str(round((watch - told).total_seconds())) if told and watch else true


def _values(whose: str | None, form: Mapping[str, str], matter: MatterRow) -> dict[str, Any]:
    """The values that count: all those of one observation, or field by field what was typed or picked."""
    if whose:
        return {name: said[whose] for name, said in matter.fields.items() if whose in said}
    picked = {name: _picked(form, name, said) for name, said in matter.fields.items()}
    return {name: value for name, value in picked.items() if value is not None}


def _picked(form: Mapping[str, str], name: str, said: Mapping[str, Any]) -> Any:
    """What the form gives for one field; None: it was left as it is."""
    picked = form.get(f"pick.{name}", "")
    listed = picked.removeprefix("=") if picked.startswith("=") else said.get(picked)
    return form.get(f"type.{name}", "").strip() or listed


@dataclass(frozen=True)
class Ruled:
    """A settled matter, and what was answered."""

    id: str
    title: str
    place: str
    kind: str
    answer: str
    who: str
    day: str
    why: str


def ruled(card: Card, ruling: Entry, said_in: SessionRow, coral: str, names: Names) -> Ruled:
    """A settled matter with the ruling that settles it; `coral` is what the coral that the ruling names is called."""
    card = _in_order(card)
    columns = _columns(card, names)
    return Ruled(
        id=card.matter.id,
        title=_title(card, columns, names),
        place=_place(card),
        kind=names.reader.text(f"pages.kind_{card.matter.kind}"),
        answer=_answered(card, columns, ruling.values, coral, names),
        who=str(said_in.session.values.get("recorder", "")),
        day=names.reader.day(datetime.fromtimestamp(ruling.at / 1000, UTC).date()),
        why=str(ruling.values.get("why", "")),
    )


def _answered(card: Card, columns: Sequence[Column], said: Mapping[str, Any], coral: str, names: Names) -> str:
    t = names.reader.text
    answer = said["answer"]
    whose = {row.session.id: column.who for row, column in zip(card.sessions, columns, strict=False)}
    if answer == "use":
        used = [f"{names.field(name)}: {names.value(name, value)}" for name, value in said["fields"].items()]
        return t("pages.ruled_use", values=names.reader.list(used))
    if answer == "place":
        return t("pages.ruled_place", coral=coral)
    if answer == "same_slate":
        return t("pages.ruled_same_slate", who=whose.get(said["keep"], said["keep"]))
    if answer == "clock":
        return t("pages.ruled_clock", told=names.offset(said["offset_s"]))
    if answer in ("day", "site"):
        told = names.reader.day(said["day"]) if answer == "day" else names.value("site", said["site"])
        return t(f"pages.ruled_{answer}", told=told)
    return t(f"pages.ruled_{answer}")
