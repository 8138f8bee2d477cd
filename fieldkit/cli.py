"""The commands. No logic of their own: options in, one call of a room, lines out. docs/commands.md describes them.

Exit codes: 0 done; 1 something is wrong in the data (rows refused, a damaged file, a fault found); 2 used wrongly.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from fieldkit import __version__, messages
from fieldkit.base import Answer, Base, Merged, find_matter, import_sheet, monitoring_protocol, statement, take_back
from fieldkit.errors import FieldkitError
from fieldkit.protocol import changes, days_of, read_protocol
from fieldkit.reports.matters import Card, cards
from fieldkit.reports.observations import observations
from fieldkit.reports.survival import Question, answer
from fieldkit.reports.tables import survival_csv
from fieldkit.server.serve import serve as serve_pages
from fieldkit.shipped import SAMPLE_SURVEYS

LANGUAGE = messages.choose([os.environ.get(name, "") for name in ("FIELDKIT_LANG", "LC_ALL", "LC_MESSAGES", "LANG")])
PORT = 8440
CODES = {"done": 0, "wrong": 1, "misused": 2}

# Into a file or another program goes a table as wide as it needs to be.
console = Console(highlight=False, width=None if sys.stdout.isatty() else 200)


def say(key: str, **data: Any) -> str:
    return messages.text(f"cli.{key}", LANGUAGE, **data)


class Command(click.Command):
    """A command that says what was refused in the reader's language, and ends with the code for it."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except FieldkitError as error:
            for line in error.texts(LANGUAGE):
                click.echo(line, err=True)
            ctx.exit(CODES["misused"])


class Group(click.Group):
    command_class = Command


@click.group(cls=Group, help=say("help"), context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--data", type=click.Path(path_type=Path), envvar="FIELDKIT_DATA", default=Path("fieldkit-data"), help=say("help_data")
)
@click.version_option(__version__, prog_name="fieldkit")
@click.pass_context
def main(context: click.Context, data: Path) -> None:
    context.obj = data


as_json = click.option("--json", "as_json", is_flag=True, help=say("help_json"))


@main.command(help=say("help_init"))
@click.option("--programme", help=say("help_programme"))
@click.option("--protocol", "protocols", multiple=True, help=say("help_init_protocol"))
@click.option("--from", "carry", type=click.Path(exists=True, dir_okay=False, path_type=Path), help=say("help_init_from"))
@click.pass_obj
def init(folder: Path, programme: str | None, protocols: Sequence[str], carry: Path | None) -> None:
    if (programme is None) == (carry is None):
        raise click.UsageError(say("programme_or_from"))
    adopted = [_protocol_file(named) for named in protocols or (() if carry else _shipped_protocols())]
    read = [read_protocol(path.read_bytes(), name=path.name) for path in adopted]
    merged = None
    if carry is not None:
        base, merged = Base.join(folder, carry)
    else:
        base = Base.create(folder, programme or "")
    for protocol in read:
        base.adopt(protocol)
    click.echo(say("made", folder=str(folder), programme=base.programme_name))
    if merged is not None:
        _tell_merged([merged])


@main.command(help=say("help_protocol"))
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help=say("help_dry_run"))
@click.pass_obj
def protocol(folder: Path, file: Path, dry_run: bool) -> None:
    base = Base(folder)
    new = read_protocol(file.read_bytes(), name=file.name)
    with base.view() as view:
        known = [base.protocol(said.get("digest", "")) for said in view.things("protocol").values()]
    older = [one for one in known if one and one.name == new.name]
    for told in changes(max(older, key=lambda one: one.version), new) if older else ():
        click.echo(told.text(LANGUAGE))
    if not dry_run:
        base.adopt(new)
        click.echo(say("adopted", name=new.name, version=new.version))


@main.command("import", help=say("help_import"))
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--sheet", help=say("help_sheet"))
@click.option("--mapping", type=click.Path(exists=True, dir_okay=False, path_type=Path), help=say("help_mapping"))
@click.option("--dry-run", is_flag=True, help=say("help_dry_run"))
@as_json
@click.pass_context
def import_(context: click.Context, file: Path, sheet: str | None, mapping: Path | None, dry_run: bool, as_json: bool) -> None:
    taken = import_sheet(Base(context.obj), file, sheet=sheet, mapping=mapping, today=date.today(), dry_run=dry_run)
    if as_json:
        _print_json(
            {
                "rows_taken": taken.rows_taken,
                "rows_refused": taken.rows_refused,
                "corals": taken.corals,
                "observations": taken.observations,
                "refused": [
                    {"sheet": r.sheet, "row": r.row, "column": r.column, "value": r.value, "why": r.fault.text(LANGUAGE)}
                    for r in taken.refused
                ],
                "asks": [{"column": a.column, "value": a.value, "rows": a.rows, "ask": a.text(LANGUAGE)} for a in taken.asks],
                "remarks": [left.text(LANGUAGE) for left in taken.left],
            }
        )
    else:
        for text in [line.text(LANGUAGE) for told in (taken.refused, taken.asks, taken.left) for line in told]:
            click.echo(text)
        click.echo(say("would_take" if dry_run else "took", n=taken.rows_taken, corals=taken.corals))
        if taken.rows_refused:
            click.echo(say("refused", n=taken.rows_refused))
    context.exit(CODES["wrong" if taken.rows_refused else "done"])


@main.command(help=say("help_merge"))
@click.argument("files", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@as_json
@click.pass_context
def merge(context: click.Context, files: Sequence[Path], as_json: bool) -> None:
    base = Base(context.obj)
    merged = [base.merge(file) for file in files]
    if as_json:
        _print_json(
            [
                {
                    "file": one.file,
                    "new": one.new,
                    "known": one.known,
                    "content": one.content,
                    "sessions": dict(one.sessions),
                    "faults": [fault.text(LANGUAGE) for fault in one.faults],
                }
                for one in merged
            ]
        )
    else:
        _tell_merged(merged)
    context.exit(CODES["wrong" if any(one.faults for one in merged) else "done"])


@main.command(help=say("help_carry"))
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help=say("help_since"))
@click.pass_context
def carry(context: click.Context, out: Path, since: Any) -> None:
    count = Base(context.obj).carry(out, since=since.date() if since else None)
    for fault in count.left_out:
        click.echo(fault.text(LANGUAGE))
    click.echo(say("carried", n=count.entries, file=str(out)))
    context.exit(CODES["wrong" if count.left_out else "done"])


@main.command(help=say("help_matters"))
@click.option("--all", "settled", is_flag=True, help=say("help_all"))
@as_json
@click.pass_obj
def matters(folder: Path, settled: bool, as_json: bool) -> None:
    with Base(folder).view() as view:
        found = cards(view, settled=settled)
    if as_json:
        _print_json([_matter_json(card) for card in found])
    else:
        _print_matters(found)


@main.command(help=say("help_rule"))
@click.argument("matter")
@click.argument("answer_", metavar="ANSWER", required=False)
@click.option("--value", "values", multiple=True, metavar="FIELD=VALUE", help=say("help_value"))
@click.option("--coral", help=say("help_coral"))
@click.option("--observation", help=say("help_observation"))
@click.option("--day", help=say("help_day"))
@click.option("--site", help=say("help_site"))
@click.option("--keep", help=say("help_keep"))
@click.option("--why", help=say("help_why"))
@click.option("--by", "recorder", help=say("help_by"))
@click.option("--retract", is_flag=True, help=say("help_retract"))
@click.pass_obj
def rule(
    folder: Path,
    /,
    matter: str,
    answer_: str | None,
    values: Sequence[str],
    recorder: str | None,
    retract: bool,
    **keys: str | None,
) -> None:
    if retract == (answer_ is not None):
        raise click.UsageError(say("answer_or_retract"))
    base = Base(folder)
    with base.view() as view:
        asked = find_matter(view, matter)
        given = Answer(answer_ or "", _pairs(values), **keys)
        said = take_back(view, asked) if retract else statement(base, view, asked, given)
    base.say([said], recorder=recorder)
    click.echo(say("taken_back" if retract else "ruled", matter=asked.id[:12]))


@main.command("observations", help=say("help_observations"))
@click.option("--where", "where", multiple=True, metavar="KEY=VALUE", help=say("help_observations_where"))
@as_json
@click.pass_obj
def observations_(folder: Path, where: Sequence[str], as_json: bool) -> None:
    with Base(folder).view() as view:
        found = observations(view, _pairs(where))
    if as_json:
        _print_json(found)
        return
    table = _table("day", "site", "plot", "coral", "recorder", "status", "fate")
    for row in found:
        status = row["values"].get("status", "")
        table.add_row(*(str(row[name] or "") for name in ("day", "site", "plot", "coral", "recorder")), status, row["fate"])
    console.print(table)


@main.command(help=say("help_survival"))
@click.option("--by", multiple=True, help=say("help_by_label"))
@click.option("--where", multiple=True, metavar="KEY=VALUE", help=say("help_where"))
@click.option("--as-of", type=click.DateTime(["%Y-%m-%d"]), help=say("help_as_of"))
@click.option("--from", "since", type=click.DateTime(["%Y-%m-%d"]), help=say("help_from"))
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help=say("help_until"))
@click.option("--estimate", type=click.Choice(["npmle", "found", "round"]), default="npmle", help=say("help_estimate"))
@click.option("--at", multiple=True, help=say("help_at"))
@click.option("--until-age", help=say("help_until_age"))
@click.option("--limits", type=click.Choice(["plots", "greenwood", "none"]), default="plots", help=say("help_limits"))
@click.option("--level", type=float, default=0.95, help=say("help_level"))
@click.option("--csv", "as_csv", is_flag=True, help=say("help_csv"))
@as_json
@click.pass_obj
def survival(
    folder: Path,
    /,
    by: Sequence[str],
    where: Sequence[str],
    as_of: Any,
    since: Any,
    until: Any,
    at: Sequence[str],
    until_age: str | None,
    as_csv: bool,
    as_json: bool,
    **asked: Any,
) -> None:
    end = until or as_of
    question = Question(
        by=tuple(by),
        where=_pairs(where),
        as_of=end.date() if end else None,
        since=since.date() if since else None,
        at=tuple(map(_age, at)),
        until_age=_age(until_age) if until_age else None,
        **asked,
    )
    base = Base(folder)
    with base.view() as view:
        found = answer(view, question, monitoring_protocol(base, view))
    if as_json:
        _print_json(found)
    elif as_csv:
        click.echo(survival_csv(found), nl=False)
    else:
        _print_survival(found, question.at or _telling(found))


@main.command(help=say("help_check"))
@as_json
@click.pass_context
def check(context: click.Context, as_json: bool) -> None:
    base = Base(context.obj)
    faults = [fault.text(LANGUAGE) for fault in base.check()]
    with base.view() as view:
        counts, fates, digest = view.ledger.counts(), view.fates(), view.digest()
    if as_json:
        _print_json({"entries": counts, "observations": fates, "state": digest, "faults": faults})
    else:
        for title, numbers in (("entries", counts), ("observations", fates)):
            click.echo(say(title, n=sum(numbers.values())))
            for name, n in numbers.items():
                click.echo(f"  {n:>8}  {name}")
        click.echo(say("state", digest=digest))
        for line in faults or [say("nothing_wrong")]:
            click.echo(line)
    context.exit(CODES["wrong" if faults else "done"])


@main.command(help=say("help_serve"))
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help=say("help_port"))
@click.option("--open", "open_browser", is_flag=True, help=say("help_open"))
@click.pass_obj
def serve(folder: Path, port: int, open_browser: bool) -> None:
    serve_pages(
        Base(folder), port=port, announce=lambda address: click.echo(say("serving", address=address)), open_browser=open_browser
    )


# what the commands print


def _print_json(found: Any) -> None:
    click.echo(json.dumps(found, ensure_ascii=False, indent=1, default=list))


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in columns:
        table.add_column(say(f"column_{name}"))
    return table


def _tell_merged(merged: Iterable[Merged]) -> None:
    for one in merged:
        click.echo(
            say("merged", file=Path(one.file).name, new=one.new, known=one.known, content=one.content, n=len(one.sessions))
        )
        for fault in one.faults:
            click.echo("  " + fault.text(LANGUAGE))


def _matter_json(card: Card) -> dict[str, Any]:
    matter, suggested = card.matter, card.suggestion
    return {
        "id": matter.id,
        "kind": matter.kind,
        "of": list(matter.of),
        "corals": list(matter.corals),
        "why": matter.why.text(LANGUAGE),
        "state": "open" if matter.is_open else "settled",
        "ruling": matter.ruling,
        "answers": list(matter.answers),
        "fields": matter.fields,
        "suggestion": None
        if suggested is None
        else {
            "answer": suggested.answer,
            **suggested.keys,
            "probability": suggested.probability,
            "why": [why.text(LANGUAGE) for why in suggested.why],
        },
    }


def _print_matters(found: Sequence[Card]) -> None:
    table = _table("matter", "kind", "place", "corals", "why")
    for card in found:
        why = card.matter.why.text(LANGUAGE)
        if card.suggestion:
            why += " " + say("likely", label=card.suggestion.label, percent=f"{card.suggestion.probability:.0%}")
        if not card.matter.is_open:
            why += " " + say("settled")
        place = " ".join(filter(None, (card.plot or card.site,)))
        table.add_row(card.matter.id[:12], card.matter.kind, place, ", ".join(card.corals), why)
    console.print(table)
    click.echo(say("matters_open", n=sum(card.matter.is_open for card in found)))


def _print_survival(found: dict[str, Any], ages: Sequence[int]) -> None:
    table = _table("group", "corals", "plots", "dead", "missing", "age", "lost", "open", "at_risk")
    for group in found["groups"]:
        label = " · ".join(value or say("unknown") for value in group["group"].values()) or say("all")
        begin = (label, *(str(group[name]) for name in ("corals", "plots", "deaths", "missing")))
        for lost, open_ in zip(group["missing_lost"]["at"], group["missing_open"]["at"], strict=True):
            if lost["age"] in ages:
                table.add_row(*begin, say("days", n=lost["age"]), _figure(lost), _figure(open_), str(lost["at_risk"]))
                begin = ("",) * len(begin)
    console.print(table)
    for name, n in found["left_out"].items():
        if n:
            click.echo(say(f"left_out_{name}", n=n))
    unsettled = found["unsettled"]
    if unsettled["observations"]:
        click.echo(say("unsettled", n=unsettled["observations"], corals=unsettled["corals"]))


def _telling(found: dict[str, Any]) -> list[int]:
    """The ages to show where nobody named any: full years, else the last."""
    ages = [at["age"] for group in found["groups"] for at in group["missing_lost"]["at"]]
    years = {days_of(f"P{n}Y") for n in range(1, 100)}
    return [age for age in ages if age in years] or ages[-1:]


def _figure(at: dict[str, Any]) -> str:
    """Survival with its limits, and the range that settling could move it in where that shows at all."""
    if at["survival"] is None:
        return "–"
    text = f"{at['survival']:.1%}"
    if at["lower"] is not None:
        text += f" ({at['lower']:.1%} – {at['upper']:.1%})"
    low, high = (f"{side:.1%}" for side in at["range"])
    return text if low == high else f"{text} [{low} – {high}]"


# what people type


def _pairs(given: Iterable[str]) -> dict[str, str]:
    pairs = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.UsageError(say("no_pair", given=text))
        pairs[name.strip()] = value.strip()
    return pairs


def _age(text: str) -> int:
    """An age as days or as an ISO 8601 duration."""
    return int(text) if text.isdecimal() else days_of(text)


def _shipped_protocols() -> list[str]:
    return ["post_outplant_monitoring", "outplanting", "nursery_round"]


def _protocol_file(named: str) -> Path:
    """A protocol by the name of a shipped one, or by its path."""
    shipped = SAMPLE_SURVEYS / "protocols" / f"{named.replace('-', '_')}.toml"
    path = shipped if shipped.is_file() else Path(named)
    if not path.is_file():
        known = ", ".join(sorted(file.stem for file in shipped.parent.glob("*.toml")))
        raise click.UsageError(say("no_protocol_file", given=named, known=known))
    return path


if __name__ == "__main__":
    sys.exit(main())
