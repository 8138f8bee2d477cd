"""`fieldkit people`: who may sign in over the network. Typed at the laptop itself, so a lost password is mended here."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path

import click

from fieldkit.access import PERSON_ROLES, VIEWER, Access, Person
from fieldkit.base import Base
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.shown import print_json, print_table, table
from fieldkit.cli.words import say

ACTIONS = ("list", "add", "password", "role", "remove")


@click.command("people", cls=Command, help=say("cli.help_people"))
@click.argument("action", type=click.Choice(ACTIONS), default="list", metavar=f"[{'|'.join(ACTIONS)}]")
@click.argument("name", required=False, metavar=f"[{say('cli.metavar_name')}]")
@click.option("--role", type=click.Choice(PERSON_ROLES), help=say("cli.help_people_role"))
@as_json
@click.pass_obj
def command(folder: Path, action: str, name: str | None, role: str | None, as_json: bool) -> None:
    people = Access(Base(folder).folder).people
    if (action == "list") == (name is not None):
        raise click.UsageError(say("cli.person_or_list"))
    if role and action not in ("add", "role"):
        raise click.UsageError(say("cli.says_nothing", option="--role", answer=action))
    if name is None:
        _list(people.all(), as_json=as_json)
    elif action == "add":
        person = people.add(name, role or VIEWER, _password())
        click.echo(say("cli.person_added", name=person.name, role=say(f"cli.role_{person.role}")))
    elif action == "password":
        click.echo(say("cli.person_password", name=people.set_password(name, _password()).name))
    elif action == "role":
        person = people.set_role(name, role or _no_role())
        click.echo(say("cli.person_role", name=person.name, role=say(f"cli.role_{person.role}")))
    else:
        click.echo(say("cli.person_removed", name=people.remove(name).name))


def _list(found: list[Person], *, as_json: bool) -> None:
    if as_json:
        print_json([asdict(one) for one in found])
        return
    shown = table("name", "role")
    for one in found:
        shown.add_row(one.name, one.role)
    print_table(shown)


def _password() -> str:
    """As typed, twice and unseen; from another program, the first line that it sends."""
    if sys.stdin.isatty():
        asked: str = click.prompt(say("cli.ask_password"), hide_input=True, confirmation_prompt=say("cli.ask_password_again"))
        return asked
    return sys.stdin.readline().rstrip("\r\n")


def _no_role() -> str:
    raise click.UsageError(say("cli.which_role", known=", ".join(PERSON_ROLES)))
