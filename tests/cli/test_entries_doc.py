"""docs/entries.md says what entries are: every kind, family, answer and fate, and an example that can be run."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path

import pytest

from fieldkit.cli.rule import GOES_WITH
from fieldkit.ledger import FAMILIES, LEAD_FAMILIES, read_line
from fieldkit.ledger.canonical import MAX_DEPTH
from fieldkit.ledger.entry import MAX_BYTES, MAX_REPLACES
from fieldkit.protocol.protocol import HEAD_NAMES, ROW_NAMES
from fieldkit.settle.fold import FATES
from tests.cli.terminal import ROOT, typed

PAGE = (ROOT / "docs" / "entries.md").read_text("utf-8")
CODE, PRINTED = re.findall(r"```(?:python|text)\n(.*?)```", PAGE, re.DOTALL)
SILENT = {"swap", "both_stand", "stands"}  # answers that need no key


def section(title: str) -> str:
    return re.split(rf"^#+ {title}$", PAGE, flags=re.MULTILINE)[1].split("\n#")[0]


def first_cells(title: str) -> list[str]:
    return re.findall(r"^\| `(.*?)` \|", section(title), re.MULTILINE)


def printed() -> str:
    told = io.StringIO()
    with contextlib.redirect_stdout(told):
        exec(CODE, {})
    return told.getvalue()


def test_the_example_prints_what_the_page_says() -> None:
    assert printed() == PRINTED


def test_fieldkit_reads_the_entries_of_the_example() -> None:
    assert [read_line(line.encode()).kind for line in printed().splitlines()] == ["session", "observation", "close"]


def test_each_line_of_the_example_proves_itself() -> None:
    assert all(read_line(line.encode()).line == f"{line}\n".encode() for line in PRINTED.splitlines())


def test_every_kind_stands_in_its_family() -> None:
    told = {
        kind: family
        for family, kinds, _ in re.findall(r"^\| (\w+) \| (`.*?`) \| (.*) \|$", section("Who may say what"), re.MULTILINE)
        for kind in re.findall(r"`(\w+)`", kinds)
    }
    assert told == {kind: family for kind, family in FAMILIES.items() if kind != "retract"}


def test_the_families_of_the_lead_are_told() -> None:
    rows = re.findall(r"^\| (\w+) \| `.*` \| (.*) \|$", section("Who may say what"), re.MULTILINE)
    assert {family for family, by in rows if by == "lead"} == LEAD_FAMILIES


@pytest.mark.parametrize("kind", FAMILIES)
def test_what_a_kind_holds_is_told(kind: str) -> None:
    heading = {"ruling": "Rulings"}.get(kind, kind)
    assert re.search(rf"^### {heading}$", PAGE, re.MULTILINE) or kind in first_cells("The register")


def test_every_fate_is_told_and_no_other() -> None:
    assert first_cells("Fates") == list(FATES)


def test_every_answer_is_told_and_no_other() -> None:
    assert set(first_cells("Rulings")) == GOES_WITH.keys() | SILENT


def test_every_answer_that_a_matter_of_the_sample_takes_is_told(sample: Path) -> None:
    asked = typed(sample, "matters", "--all", "--json").json
    assert {answer for matter in asked for answer in matter["answers"]} <= set(first_cells("Rulings"))


def test_every_name_that_a_protocol_may_not_give_a_field_is_told() -> None:
    assert {name for name in HEAD_NAMES | ROW_NAMES if f"`{name}`" not in PAGE} <= {"session"}


@pytest.mark.parametrize("limit", [f"at most {MAX_REPLACES}", f"at most {MAX_DEPTH} deep", f"at most {MAX_BYTES} bytes"])
def test_the_limits_are_those_of_the_code(limit: str) -> None:
    assert limit in PAGE
