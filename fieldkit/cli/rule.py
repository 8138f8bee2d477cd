"""`fieldkit rule`: settle a matter, or take the ruling back."""

from __future__ import annotations

from collections.abc import Mapping

import click

from fieldkit.base import Answer, Base, find_matter, statement, take_back, take_back_together
from fieldkit.cli.command import Command
from fieldkit.cli.given import pairs
from fieldkit.cli.matters import ID_SHOWN
from fieldkit.cli.words import say
from fieldkit.reports.alike import rulings_alike

# Which options say something with an answer. Any other would be dropped in silence.
GOES_WITH: Mapping[str, frozenset[str]] = {
    "use": frozenset({"values"}),
    "place": frozenset({"coral", "observation"}),
    "same_slate": frozenset({"keep"}),
    "set_aside": frozenset({"observation"}),
    "day": frozenset({"day"}),
    "site": frozenset({"site"}),
    "clock": frozenset({"offset_s"}),
}


@click.command("rule", cls=Command, help=say("cli.help_rule"))
@click.argument("matter", metavar=say("cli.metavar_matter"))
@click.argument("answer", required=False, metavar=f"[{say('cli.metavar_answer')}]")
@click.option("--value", "values", multiple=True, callback=pairs, metavar=say("cli.metavar_pair"), help=say("cli.help_value"))
@click.option("--coral", metavar=say("cli.metavar_name"), help=say("cli.help_its_coral"))
@click.option("--observation", metavar=say("cli.metavar_digest"), help=say("cli.help_observation"))
@click.option("--day", metavar=say("cli.metavar_day"), help=say("cli.help_day"))
@click.option("--site", metavar=say("cli.metavar_name"), help=say("cli.help_site"))
@click.option("--offset", "offset_s", metavar=say("cli.metavar_offset"), help=say("cli.help_offset"))
@click.option("--keep", metavar=say("cli.metavar_session"), help=say("cli.help_keep"))
@click.option("--why", metavar=say("cli.metavar_text"), help=say("cli.help_why"))
@click.option("--by", "recorder", metavar=say("cli.metavar_name"), help=say("cli.help_by"))
@click.option("--alike", is_flag=True, help=say("cli.help_alike"))
@click.option("--retract", is_flag=True, help=say("cli.help_retract"))
@click.pass_context
def command(
    context: click.Context,
    /,
    matter: str,
    answer: str | None,
    values: Mapping[str, str],
    why: str | None,
    recorder: str | None,
    alike: bool,
    retract: bool,
    **keys: str | None,
) -> None:
    if retract == (answer is not None):
        raise click.UsageError(say("cli.answer_or_retract"))
    base = Base(context.obj)
    with base.view() as view:
        asked = find_matter(view, matter)
        given = Answer(answer or "", values, why=why, **keys)
        if retract:
            said = [take_back_together(view, asked) if alike else take_back(view, asked)]
        else:
            said = [statement(base, view, asked, given), *(rulings_alike(base, view, asked, given) if alike else ())]
    _refuse_what_says_nothing(answer, {"values": values, "why": why if retract else None, **keys})
    base.say(said, recorder=recorder)
    click.echo(say("cli.taken_back" if retract else "cli.ruled", matter=asked.id[:ID_SHOWN]))
    if alike:
        n = len(said[0].replaces) if retract else len(said)
        click.echo(say("cli.alike_too", n=n - 1))


def _refuse_what_says_nothing(answer: str | None, given: Mapping[str, object]) -> None:
    options = {"values": "--value", "offset_s": "--offset"}
    for name in sorted({name for name, value in given.items() if value} - GOES_WITH.get(answer or "", frozenset())):
        option = options.get(name, f"--{name}")
        raise click.UsageError(say("cli.says_nothing", option=option, answer=answer or "--retract"))
