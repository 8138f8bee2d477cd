"""docs/commands.md and the help cannot drift: every command and option stands in both, and the examples give what they say."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import click
import pytest

from fieldkit.cli.program import MODULES, fieldkit
from fieldkit.settle.matter import matter_id
from tests.cli import examples
from tests.cli.terminal import ROOT, typed

PAGE = examples.PAGE.read_text("utf-8")
COMMANDS: dict[str, click.Command] = {name: import_module(f"fieldkit.cli.{module}").command for name, module in MODULES.items()}
OPTIONS = [
    (name, option) for name, command in COMMANDS.items() for option in command.params if isinstance(option, click.Option)
]
SPOKEN = """
import click, json
from importlib import import_module
from fieldkit.cli.program import MODULES, fieldkit
commands = {name: import_module(f"fieldkit.cli.{module}").command for name, module in MODULES.items()}
print(json.dumps({name: {"": command.help, **{o.name: o.help for o in command.params if isinstance(o, click.Option)}}
    for name, command in {"fieldkit": fieldkit, **commands}.items()}))
"""


def section(command: str) -> str:
    return re.split(rf"^## {command}$", PAGE, flags=re.MULTILINE)[1].split("\n## ")[0]


@pytest.fixture(scope="module")
def spoken() -> dict[str, dict[str, dict[str, str]]]:
    """The help of every command and option, by language."""
    told = {}
    for language in ("en", "es"):
        variables = {**os.environ, "FIELDKIT_LANG": language}
        done = subprocess.run([sys.executable, "-c", SPOKEN], capture_output=True, check=True, cwd=ROOT, env=variables)
        told[language] = json.loads(done.stdout)
    return told


def test_every_command_is_explained() -> None:
    assert re.findall(r"^## (\w+)$", PAGE, re.MULTILINE) == list(MODULES)


def test_every_command_can_be_run_by_its_name() -> None:
    assert {name: command.name for name, command in COMMANDS.items()} == {name: name for name in fieldkit.commands}


@pytest.mark.parametrize(("command", "option"), [(name, option.opts[-1]) for name, option in OPTIONS])
def test_an_option_is_explained(command: str, option: str) -> None:
    assert f"| `{option}` |" in section(command)


@pytest.mark.parametrize("command", MODULES)
def test_no_option_is_explained_that_does_not_exist(command: str) -> None:
    known = {option for name, one in OPTIONS if name == command for option in one.opts}
    assert set(re.findall(r"^\| `(--[\w-]+)` \|", section(command), re.MULTILINE)) == known


@pytest.mark.parametrize("command", MODULES)
def test_the_usage_names_every_argument(command: str) -> None:
    usage = section(command).split("\n\n")[1]
    arguments = [one for one in COMMANDS[command].params if isinstance(one, click.Argument)]
    assert [
        one.make_metavar(click.Context(COMMANDS[command])) for one in arguments if str(one.metavar).strip("[]") not in usage
    ] == []


def test_every_command_and_option_has_help_in_both_languages(spoken: Any) -> None:
    english, spanish = (
        {(name, of): text for name, told in one.items() for of, text in told.items()} for one in spoken.values()
    )
    assert len(english) == 1 + len(MODULES) + len(OPTIONS) + len(fieldkit.params)
    assert [of for of, text in english.items() if not text or spanish[of] in ("", text)] == []


def test_the_examples_give_what_the_page_says(tmp_path: Path) -> None:
    assert examples.run_again(PAGE, tmp_path) == PAGE, "look at what changed: FIELDKIT_LANG=en python -m tests.cli.examples"


def test_every_kind_of_matter_in_the_sample_is_explained(sample: Path) -> None:
    kinds = {matter["kind"] for matter in typed(sample, "matters", "--all", "--json").json}
    explained = set(re.findall(r"`(\w+)`", "\n".join(re.findall(r"^\| (`.*?`) \|", section("matters"), re.MULTILINE))))
    assert kinds <= explained


def test_the_id_of_a_matter_is_made_as_the_page_says(sample: Path) -> None:
    assert all(one["id"] == matter_id(one["kind"], one["of"]) for one in typed(sample, "matters", "--json").json)


@pytest.mark.parametrize(
    "command", ["import", "merge", "matters", "observations", "survival", "ranking", "causes", "period", "effort", "check"]
)
def test_the_json_of_a_command_is_described(command: str) -> None:
    assert "**JSON**:" in section(command)
