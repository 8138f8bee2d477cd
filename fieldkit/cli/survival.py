"""`fieldkit survival`: how many still live at an age, missing counted as lost beside missing left open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, TypeAlias, get_args

import click

from fieldkit.base import Base, monitoring_protocol
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import age, ages, day, pairs, refuse_unknown
from fieldkit.cli.shown import at_work, print_exactly, print_json, print_table, table
from fieldkit.cli.words import DASH, number, percent, say, span
from fieldkit.protocol import days_of
from fieldkit.reports.columns import LABELS, known_labels
from fieldkit.reports.question import Estimate, Limits, Question
from fieldkit.reports.survival import FEW_PLOTS, answer, as_known
from fieldkit.reports.tables import survival_csv

FEW = 10  # at risk: fewer say little, and are marked
Figures: TypeAlias = Mapping[str, Any]
"""A part of the answer, as docs/commands.md describes it."""
YEARS = frozenset(days_of(f"P{n}Y") for n in range(1, 100))


@click.command("survival", cls=Command, help=say("cli.help_survival"))
@click.option("--by", multiple=True, metavar=say("cli.metavar_label"), help=say("cli.help_by_label", known=", ".join(LABELS)))
@click.option("--where", multiple=True, callback=pairs, metavar=say("cli.metavar_pair"), help=say("cli.help_where"))
@click.option("--as-of", callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_as_of"))
@click.option("--from", "since", callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_from"))
@click.option("--until", callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_until"))
@click.option("--estimate", type=click.Choice(get_args(Estimate)), default="npmle", help=say("cli.help_estimate"))
@click.option("--at", multiple=True, callback=ages, metavar=say("cli.metavar_age"), help=say("cli.help_at"))
@click.option("--until-age", callback=age, metavar=say("cli.metavar_age"), help=say("cli.help_until_age"))
@click.option("--limits", type=click.Choice(get_args(Limits)), default="plots", help=say("cli.help_limits"))
@click.option("--level", type=float, default=0.95, metavar="0.95", help=say("cli.help_level"))
@click.option("--csv", "as_csv", is_flag=True, help=say("cli.help_csv"))
@as_json
@click.pass_obj
def command(
    folder: Path,
    /,
    by: Sequence[str],
    as_of: date | None,
    since: date | None,
    until: date | None,
    as_csv: bool,
    as_json: bool,
    **asked: Any,
) -> None:
    if as_csv and as_json:
        raise click.UsageError(say("cli.csv_or_json"))
    question = Question(by=tuple(dict.fromkeys(by)), since=since, as_of=_last_day(as_of, since, until), **asked)
    found = _found(Base(folder), question)
    if as_json:
        print_json(found)
    elif as_csv:
        print_exactly(survival_csv(found))
    else:
        _tell(found, question)


def _last_day(as_of: date | None, since: date | None, until: date | None) -> date | None:
    """The day after which nothing is looked at: that of --until, which goes with --from, or that of --as-of."""
    if until and not since:
        raise click.UsageError(say("cli.until_without_from"))
    if until and as_of:
        raise click.UsageError(say("cli.until_or_as_of"))
    last = until or as_of
    if since and last and last < since:
        raise click.UsageError(say("cli.ends_before_it_begins", since=str(since), until=str(last)))
    return last


def _found(base: Base, question: Question) -> dict[str, Any]:
    with base.view() as view, at_work(say("cli.computing")):
        found = answer(view, question, monitoring_protocol(base, view))
        if question.where and not found["groups"]:
            refuse_unknown(question.where, known_labels(view))
    return found


def _tell(exactly: Figures, question: Question) -> None:
    found = as_known(exactly)
    if not found["groups"]:
        click.echo(say("cli.no_corals"))
        return
    ages_shown = question.at or _telling(found)
    told = [(group, [pair for pair in _side_by_side(group) if pair[0]["age"] in ages_shown]) for group in found["groups"]]
    _print_groups(told)
    click.echo(say(f"cli.estimate_{question.estimate}"))
    if question.limits != "none":
        click.echo(say(f"cli.limits_{question.limits}", level=percent(question.level, "0.#")))
    if any(group["plots"] < FEW_PLOTS for group, _ in told):
        click.echo(say("cli.few_plots", few=FEW_PLOTS))
    if any(_is_few(lost) for _, figures in told for lost, _ in figures):
        click.echo(say("cli.few_at_risk", few=FEW))
    _tell_what_is_not_in_it(found)


def _print_groups(told: Sequence[tuple[Figures, Sequence[tuple[Figures, Figures]]]]) -> None:
    """A row a group, its ages below each other: so both figures stand side by side on a narrow terminal too."""
    shown = table("group", "age", "at_risk", "lost", "open", right=("age", "at_risk"))
    for group, figures in told:
        lines = [line for pair in figures for line in _lines(*pair)]
        shown.add_row(_group(group), *("\n".join(cells) for cells in zip(*lines, strict=True)))
    print_table(shown)


def _tell_what_is_not_in_it(found: Figures) -> None:
    for name, n in found["left_out"].items():
        if n:
            click.echo(say(f"cli.left_out_{name}", n=n))
    unsettled = found["unsettled"]
    if unsettled["observations"]:
        click.echo(say("cli.unsettled", n=unsettled["observations"], corals=unsettled["corals"]))


def _side_by_side(group: Figures) -> Iterator[tuple[Figures, Figures]]:
    return zip(group["missing_lost"]["at"], group["missing_open"]["at"], strict=True)


def _group(group: Figures) -> str:
    """What a group is called, how many corals it has and what became of them."""
    label = " · ".join(value or say("cli.unknown") for value in group["group"].values()) or say("cli.all")
    counts = say("cli.counts", n=group["corals"], plots=group["plots"])
    mark = " ‡" if group["plots"] < FEW_PLOTS else ""
    return f"{label}\n{counts}{mark}\n{say('cli.losses', dead=group['deaths'], missing=group['missing'])}"


def _lines(lost: Figures, open_: Figures) -> list[list[str]]:
    """The figures at one age; below, where they differ: the age at which they are known, how far settling could move them."""
    at_risk = number(lost["at_risk"]) + ("*" if _is_few(lost) else "")
    known = say("cli.seen_by", known=lost["known_age"]) if lost["known_age"] != lost["age"] else ""
    below = [known, "", _range(lost), _range(open_)]
    return [[say("cli.days", n=lost["age"]), at_risk, _figure(lost), _figure(open_)], *([below] if any(below) else [])]


def _is_few(at: Figures) -> bool:
    return bool(0 < at["at_risk"] < FEW)


def _figure(at: Figures) -> str:
    if at["survival"] is None:
        return DASH
    limits = "" if at["lower"] is None else f" ({span(at['lower'], at['upper'])})"
    return percent(at["survival"]) + limits


def _range(at: Figures) -> str:
    low, high = at["range"]
    if low is None or percent(low) == percent(high):
        return ""
    return f"[{span(low, high)}]"


def _telling(found: Figures) -> frozenset[int]:
    """The ages to show where nobody named any: full years, else the last."""
    known = [lost["age"] for group in found["groups"] for lost, _ in _side_by_side(group)]
    return YEARS & set(known) or frozenset(known[-1:])
