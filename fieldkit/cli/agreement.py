"""`fieldkit agreement`: how far recorders agree who saw the same coral on the same visit."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.shown import at_work, print_json, print_table, table
from fieldkit.cli.words import DASH, decimal, number, percent, say, span
from fieldkit.reports.agreement import Agreement, Compared, FieldAgreement, Kappa, agreement
from fieldkit.reports.agreement import as_json as as_plain

FIGURES = ("compared", "agreeing", "kappa", "linear", "quadratic", "apart", "bias", "within")


@click.command("agreement", cls=Command, help=say("cli.help_agreement"))
@click.option("--field", metavar=say("cli.metavar_field"), help=say("cli.help_field"))
@as_json
@click.pass_obj
def command(folder: Path, field: str | None, as_json: bool) -> None:
    base = Base(folder)
    with base.view() as view, at_work(say("cli.computing")):
        found = agreement(view, base.protocol)
    if as_json:
        print_json(as_plain(found))
    elif field is None:
        _tell_all(found)
    else:
        _tell_one(_named(found.fields, field))


def _named(fields: Iterable[FieldAgreement], name: str) -> FieldAgreement:
    known = {one.field.name: one for one in fields}
    if name not in known:
        raise click.UsageError(say("agreement.no_field", value=name, known=", ".join(known) or DASH))
    return known[name]


def _tell_all(found: Agreement) -> None:
    click.echo(say("agreement.based_on", n=found.doubles))
    if found.fields:
        _print("field", ((one.field.name, one.everyone) for one in found.fields))
        click.echo(say("agreement.for_training"))
    for why, n in found.left_out.items():
        click.echo(say(f"agreement.left_out_{why}", n=n))


def _tell_one(found: FieldAgreement) -> None:
    _print("recorders", ((" ".join(pair), told) for pair, told in found.pairs.items()))
    _print("recorder", ((one.recorder, one.compared) for one in found.recorders))
    everyone = found.everyone
    if everyone.is_nearly_all_one and everyone.most_share is not None:
        most = everyone.most if isinstance(everyone.most, str) else ";".join(everyone.most)
        click.echo(say("agreement.nearly_all", most=most, share=percent(everyone.most_share)))


def _print(first: str, rows: Iterable[tuple[str, Compared]]) -> None:
    """Only the columns that any row fills."""
    told = [(name, {figure: _figure(compared, figure) for figure in FIGURES}) for name, compared in rows]
    filled = [figure for figure in FIGURES if any(cells[figure] for _, cells in told)]
    shown = table(first, *filled, right=filled)
    for name, cells in told:
        shown.add_row(name, *(cells[figure] for figure in filled))
    print_table(shown)


def _figure(told: Compared, figure: str) -> str:
    """One cell; empty where the field has no such figure."""
    apart = told.differences
    if figure == "compared":
        return number(told.n)
    if figure == "agreeing":
        return f"{percent(told.share)} ({span(told.lower, told.upper)})"
    if figure == "apart":
        return decimal(told.apart) if told.apart is not None else ""
    if figure in ("bias", "within"):
        if apart is None or apart.lower is None or apart.upper is None:
            return ""
        return decimal(apart.bias) if figure == "bias" else f"{decimal(apart.lower)} … {decimal(apart.upper)}"
    kappas = {str(kind): kappa for kind, kappa in (told.kappas or {}).items()}
    return _kappa(kappas.get("unweighted" if figure == "kappa" else figure))


def _kappa(kappa: Kappa | None) -> str:
    if kappa is None:
        return ""
    if kappa.value is None:
        return DASH
    limits = "" if kappa.lower is None or kappa.upper is None else f" ({decimal(kappa.lower)} … {decimal(kappa.upper)})"
    return decimal(kappa.value) + limits
