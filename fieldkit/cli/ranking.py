"""`fieldkit ranking`: which genotypes lose fewer corals than others at the same sites, and which pairs can be told apart."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any, get_args

import click

from fieldkit.cli import question as asked
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.shown import print_table, table
from fieldkit.cli.words import DASH, LANGUAGE, decimal, number, percent, say
from fieldkit.reports.question import Estimate, Question
from fieldkit.reports.ranking import Place, Ranking, ranking
from fieldkit.reports.tables import pairs_csv, ranking_csv

RANKED = ("genotype", "species", "cohort", "method")


@click.command("ranking", cls=Command, help=say("cli.help_ranking"))
@click.option("--by", type=click.Choice(RANKED), default="genotype", help=say("cli.help_ranked"))
@asked.where
@asked.as_of
@asked.since
@click.option("--estimate", type=click.Choice(get_args(Estimate)), default="npmle", help=say("cli.help_estimate"))
@asked.level
@click.option("--pairs", is_flag=True, help=say("cli.help_pairs"))
@asked.as_csv
@as_json
@click.pass_obj
def command(folder: Path, /, by: str, pairs: bool, as_csv: bool, as_json: bool, since: date | None, **given: Any) -> None:
    question = Question(by=(by,), since=since, **given)
    found = asked.answered(folder, question.where, lambda view, protocol: ranking(view, question, protocol))
    if asked.printed(found, pairs_csv if pairs else ranking_csv, as_json=as_json, as_csv=as_csv):
        return
    if not found.lost.places:
        click.echo(say("cli.no_corals"))
    elif pairs:
        _tell_pairs(found)
    else:
        _tell(found)


def _tell(found: Ranking) -> None:
    open_ = {place.label: place for place in found.open.places}
    shown = table("rank", "group", "of_corals", "lost", "open", right=("rank",))
    for place in found.lost.places:
        shown.add_row(_rank(place), place.label, _of(place), _ratio(place), _ratio(open_.get(place.label)))
    print_table(shown)
    click.echo(say("cli.ranking_told", level=percent(found.question.level, "0.#")))
    for place in found.lost.places:
        for fault in place.said():
            click.echo(fault.text(LANGUAGE))
    for pair in found.lost.pairs:
        if pair.verdict == "apart":
            click.echo(pair.said().text(LANGUAGE))
    for verdict, n in Counter(pair.verdict for pair in found.lost.pairs).items():
        if verdict != "apart":
            click.echo(say(f"cli.pairs_{verdict}", n=n))
    unnamed = f"no_{found.by}"
    asked.tell_left_out({"no_label" if why == unnamed else why: n for why, n in found.left_out.items()})


def _tell_pairs(found: Ranking) -> None:
    for pair in found.lost.pairs:
        click.echo(pair.said().text(LANGUAGE))


def _rank(place: Place) -> str:
    return DASH if place.rank is None else number(place.rank)


def _of(place: Place) -> str:
    return say("cli.of_corals_lost", n=place.corals, plots=place.plots, sites=len(place.sites), lost=place.lost)


def _ratio(place: Place | None) -> str:
    if place is None or place.ratio is None:
        return DASH
    limits = "" if place.lower is None or place.upper is None else f" ({decimal(place.lower)}–{decimal(place.upper)})"
    return decimal(place.ratio) + limits
