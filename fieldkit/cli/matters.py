"""`fieldkit matters`: what a person must settle; of one, all that is needed to settle it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from fieldkit.base import Base, find_matter
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.shown import print_json, print_table, table, written
from fieldkit.cli.words import LANGUAGE, percent, say
from fieldkit.reports.matters import Card, Seen, Suggested, answered_differently, cards

ID_SHOWN = 12  # digits of an id: two matters of a programme that share so many are not to be expected
SURE = 0.995  # what would be rounded to certainty is said to be above 99 %: a person decides


@click.command("matters", cls=Command, help=say("cli.help_matters"))
@click.argument("matter", required=False, metavar=f"[{say('cli.metavar_matter')}]")
@click.option("--all", "settled", is_flag=True, help=say("cli.help_all"))
@as_json
@click.pass_obj
def command(folder: Path, matter: str | None, settled: bool, as_json: bool) -> None:
    with Base(folder).view() as view:
        chosen = None if matter is None else find_matter(view, matter).id
        found = cards(view, settled=settled or bool(chosen), ids=chosen and [chosen])
        differ = [answered_differently(view, card.matter)[0] for card in found if card.matter.kind == "rulings_differ"]
    if as_json:
        print_json([_as_json(card) for card in found])
    elif matter is None:
        _tell_all(found)
    else:
        _tell_one(found[0])
        for about in differ:
            click.echo(say("cli.answer_anew", matter=about[:ID_SHOWN]))


def _as_json(card: Card) -> dict[str, Any]:
    matter = card.matter
    return {
        "id": matter.id,
        "kind": matter.kind,
        "of": matter.of,
        "corals": matter.corals,
        "why": matter.why.text(LANGUAGE),
        "state": "open" if matter.is_open else "settled",
        "ruling": matter.ruling,
        "answers": matter.answers,
        "fields": dict(matter.fields),
        "suggestion": _suggestion(card.suggestion),
    }


def _suggestion(suggested: Suggested | None) -> dict[str, Any] | None:
    if suggested is None:
        return None
    why = [reason.text(LANGUAGE) for reason in suggested.why]
    return {"answer": suggested.answer, **suggested.keys, "probability": suggested.probability, "why": why}


def _tell_all(found: Sequence[Card]) -> None:
    shown = table("matter", "place", "why")
    for card in found:
        place = " ".join((card.plot or card.site, *card.corals))
        shown.add_row(card.matter.id[:ID_SHOWN], place, " ".join(filter(None, (_asked(card), _likely(card.suggestion)))))
    if found:
        print_table(shown)
    click.echo(say("cli.matters_open", n=sum(card.matter.is_open for card in found)))
    if found:
        click.echo(say("cli.how_to_see_one"))


def _asked(card: Card) -> str:
    """What kind of matter it is, what is asked, and whether that is answered."""
    asked = f"{card.matter.kind}: {card.matter.why.text(LANGUAGE)}"
    return asked if card.matter.is_open else f"{asked} {say('cli.settled')}"


def _likely(suggested: Suggested | None) -> str:
    if suggested is None:
        return ""
    if suggested.probability is None:
        return say("cli.suggested", label=suggested.label)
    sure = suggested.probability > SURE
    share = percent(0.99 if sure else suggested.probability, "0")
    return say("cli.very_likely" if sure else "cli.likely", label=suggested.label, percent=share)


def _tell_one(card: Card) -> None:
    matter = card.matter
    click.echo(f"{matter.id}\n{_asked(card)}")
    for label, text in (("cli.at_site", card.site), ("cli.in_plot", card.plot), ("cli.of_corals", ", ".join(card.corals))):
        if text:
            click.echo(say(label, name=text))
    if card.seen:
        _tell_seen(card.seen)
    for row in card.sessions:
        recorder = str(row.session.values.get("recorder", ""))
        click.echo(say("cli.of_session", session=row.session.id, day=row.day or "", recorder=recorder))
    if card.last_visit:
        click.echo(say("cli.visit_before", said=written(card.last_visit)))
    if card.suggestion:
        click.echo(" ".join((_likely(card.suggestion), *(why.text(LANGUAGE) for why in card.suggestion.why))))
    answers = ", ".join(matter.answers)
    click.echo(say("cli.answers", known=answers) if answers else say("cli.mend"))


def _tell_seen(seen: Sequence[Seen]) -> None:
    shown = table("observation", "day", "recorder", "noted", "values", "fate")
    for one in seen:
        shown.add_row(one.digest[:ID_SHOWN], one.day, one.recorder, one.noted, written(one.values), one.fate)
    print_table(shown)
