"""`fieldkit coral`: the life of one coral, by a tag that it wears or wore, or by its id."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import click

from fieldkit.base import Base, View
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import SUGGESTED
from fieldkit.cli.shown import print_json, print_table, table, written
from fieldkit.cli.words import DASH, LANGUAGE, say
from fieldkit.reports.corals import Action, CoralLife, Listed, Matter, Seen, Wanted, coral_life, find
from fieldkit.reports.corals import as_json as as_plain

ID_SHOWN = 12


@click.command("coral", cls=Command, help=say("cli.help_coral"))
@click.argument("named", metavar=say("cli.metavar_coral"))
@as_json
@click.pass_obj
def command(folder: Path, named: str, as_json: bool) -> None:
    base = Base(folder)
    with base.view() as view:
        coral = the_one(view, named)
        life = coral_life(view, coral.id, base.protocol, date.today())
    assert life  # it was just listed
    if as_json:
        print_json({**as_plain(life), "unsettled": [_unsettled(matter) for matter in life.unsettled]})
    else:
        _tell(life)


def the_one(view: View, named: str) -> Listed:
    """The coral that is meant; where several are, or none, what would tell."""
    found = find(view, Wanted(tag=named))
    if found.total == 1:
        return found.corals[0]
    if not found.total:
        known = ", ".join(one.called for one in found.alike) or DASH
        raise click.UsageError(say("corals.no_such_coral", id=named, known=known))
    lines = [f"{one.id}  {one.called}  {one.plot} {one.site}" for one in found.corals[:SUGGESTED]]
    raise click.UsageError("\n".join([say("corals.several", named=named), *lines]))


def _unsettled(matter: Matter) -> dict[str, str]:
    return {"id": matter.id, "kind": matter.kind, "why": matter.why.text(LANGUAGE)}


def _tell(life: CoralLife) -> None:
    coral = life.listed
    click.echo(f"{coral.called}  {' '.join(filter(None, (coral.plot, coral.position, coral.site)))}\n{coral.id}")
    for label, told in _facts(life):
        click.echo(f"{label}: {told}")
    for matter in life.unsettled:
        click.echo(say("cli.unsettled_matter", matter=matter.id[:ID_SHOWN], kind=matter.kind, why=matter.why.text(LANGUAGE)))
    shown = table("day", "what", "recorder", "values", "fate")
    for day, kind, one in life.timeline:
        shown.add_row(day, say(f"corals.{kind}"), *_cells(one))
    print_table(shown)
    if life.sizes:
        steps = ((f"{one.size:g}", one.change) for one in life.sizes)
        click.echo(say("cli.size_by_size", sizes=", ".join(size + _changed(change) for size, change in steps)))


def _facts(life: CoralLife) -> list[tuple[str, str]]:
    coral = life.listed
    facts = [
        (say("corals.tags"), ", ".join(_worn(*worn) for worn in life.tags)),
        (say("corals.genotype"), f"{coral.genotype} {coral.species}".strip()),
        (say("corals.planted"), coral.planted_on or DASH),
        (say("corals.fate"), say(f"pages.fate_{coral.fate}")),
    ]
    if life.died:
        facts += [
            (say("pages.missing_lost"), _when(life, life.died.lost)),
            (say("pages.missing_open"), _when(life, life.died.open)),
        ]
    return [(label, told) for label, told in facts if told]


def _worn(tag: str, since: str | None, until: str | None) -> str:
    if since and until:
        return say("corals.worn", tag=tag, since=since, until=until)
    return say("corals.since", tag=tag, since=since) if since else tag


def _when(life: CoralLife, ages: tuple[int, int | None]) -> str:
    planted = date.fromisoformat(life.listed.planted_on or "")
    left, right = ages
    told = {"left": str(planted + timedelta(days=left)), "left_age": say("cli.days", n=left)}
    if right is None:
        return say("corals.not_found_dead", **told)
    if right == left:
        return say("corals.died_on", **told)
    return say("corals.died_between", **told, right=str(planted + timedelta(days=right)), right_age=say("cli.days", n=right))


def _cells(one: Seen | Action | None) -> tuple[str, str, str]:
    if one is None:
        return "", "", ""
    if isinstance(one, Seen):
        return one.recorder, written(one.values), one.fate
    return one.recorder, " ".join([", ".join(one.done), written(one.values) or str(one.values.get("tag", ""))]).strip(), ""


def _changed(change: float | None) -> str:
    return "" if change is None else f" ({change:+g})"
