"""What people type: days, ages, pairs, files. Whatever does not fit is refused with what would be right."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from difflib import get_close_matches
from pathlib import Path

import click

from fieldkit.base import View
from fieldkit.cli.words import say
from fieldkit.protocol import DurationError, days_of
from fieldkit.register.names import folded

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
NEW_FILE = click.Path(dir_okay=False, path_type=Path)
AGE_DIGITS = 6  # a million days and more are no age of a coral
SUGGESTED = 12  # names, where none is near


def day(context: click.Context, parameter: click.Parameter, given: str | None) -> date | None:
    """A civil day, ISO 8601."""
    try:
        return None if given is None else date.fromisoformat(given)
    except ValueError:
        raise click.BadParameter(say("cli.no_day", given=given), context, parameter) from None


def age(context: click.Context, parameter: click.Parameter, given: str | None) -> int | None:
    """An age as whole days or as an ISO 8601 duration; in days."""
    if given is None:
        return None
    try:
        return int(given) if given.isascii() and given.isdecimal() and len(given) <= AGE_DIGITS else days_of(given)
    except DurationError:
        raise click.BadParameter(say("cli.no_age", given=given), context, parameter) from None


def ages(context: click.Context, parameter: click.Parameter, given: Sequence[str]) -> tuple[int, ...]:
    """Ages, each once, the youngest first."""
    return tuple(sorted({days for text in given if (days := age(context, parameter, text)) is not None}))


def pairs(context: click.Context, parameter: click.Parameter, given: Sequence[str]) -> dict[str, str]:
    """What several `key=value` say together; each key once, for of two values one would be dropped in silence."""
    found: dict[str, str] = {}
    for text in given:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not (name and equals):
            raise click.BadParameter(say("cli.no_pair", given=text), context, parameter)
        if name in found:
            raise click.BadParameter(say("cli.key_twice", name=name), context, parameter)
        found[name] = value
    return found


def refuse_unknown(where: Mapping[str, str], known: Mapping[str, Collection[str]]) -> None:
    """Say which of the names asked for is nowhere, and what is near it: a slip must not look like an empty answer."""
    for name, value in where.items():
        by_fold = {folded(one): one for one in known[name] if one}
        if folded(value) not in by_fold:
            near = get_close_matches(folded(value), by_fold, n=3) or sorted(by_fold)[:SUGGESTED]
            raise click.UsageError(say("cli.none_has", name=name, value=value, known=", ".join(by_fold[one] for one in near)))


def named(view: View, kind: str, names: Sequence[str], **belonging: str) -> list[str]:
    """Ids of things by their names, which may be typed in any case."""
    things = view.things(kind).items()
    ids = {folded(str(said.get("name", ""))): id_ for id_, said in things if belonging.items() <= said.items()}
    called = [str(said["name"]) for id_, said in things if said.get("name") and id_ in ids.values()]
    for name in names:
        refuse_unknown({kind: name}, {kind: called})
    return [ids[folded(name)] for name in names]
