"""docs/protocol.md cannot drift from what is read: every key, kind, role and reserved name is there; its examples are right."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from fieldkit.protocol import days_of, read_protocol
from fieldkit.protocol.protocol import EVENTS, HANDS, KINDS, OF, RESERVED, ROLES
from fieldkit.protocol.tables import CHOICE, EFFORT, EVENT_VISIT, FIELD, HEAD, PLAUSIBLE, ROUND, TABLES

DOCS = (Path(__file__).parent.parent.parent / "docs" / "protocol.md").read_text("utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", DOCS, re.DOTALL)
SECTIONS = {
    "[protocol]": HEAD,
    "[[field]]": FIELD,
    "`values`": CHOICE,
    "[[round]]": ROUND,
    "[[event_visit]]": EVENT_VISIT,
    "[effort]": EFFORT,
    "[plausible]": PLAUSIBLE,
}


@pytest.mark.parametrize("heading", SECTIONS)
def test_every_key_is_explained_in_its_section(heading: str) -> None:
    section = re.split(r"^#+ ", DOCS, flags=re.MULTILINE)
    (text,) = [one for one in section if heading in one.partition("\n")[0]]
    explained = {name for row in re.findall(r"^\| (`.*?) \|", text, re.MULTILINE) for name in re.findall(r"`(\w+)`", row)}
    assert explained == set(SECTIONS[heading])


def test_every_kind_role_and_reserved_name_is_named() -> None:
    assert {name for name in (*KINDS, *ROLES, *RESERVED, *HANDS, *EVENTS) if f"`{name}`" not in DOCS} == set()
    assert {name for name in OF if f'`"{name}"`' not in DOCS} == set()


def test_the_kinds_that_can_answer_for_a_role_are_those_of_the_table() -> None:
    rows = re.findall(r"^\| ((?:`\w+`,? ?)+) \| ([^|]*?)(?:, of a coral.*)? \|$", DOCS.split("### `role`")[1], re.MULTILINE)
    told = {role: set(re.findall(r"`(\w+)`", kinds)) for roles, kinds in rows for role in re.findall(r"`(\w+)`", roles)}
    assert told | {role: set(kinds) for role, kinds in ROLES.items()} == told


def test_the_small_protocol_is_taken() -> None:
    assert read_protocol(EXAMPLES[0].encode()).name == "reef-check"


@pytest.mark.parametrize("example", EXAMPLES[1:])
def test_every_other_example_is_toml_of_known_keys(example: str) -> None:
    assert tomllib.loads(example).keys() <= FIELD.keys() | set(TABLES)


@pytest.mark.parametrize(("duration", "days"), re.findall(r"`(P\w+)` (?:is )?(\d+)", DOCS))
def test_the_durations_are_as_long_as_the_page_says(duration: str, days: str) -> None:
    assert days_of(duration) == int(days)


def test_the_page_offers_durations_to_check() -> None:
    assert len(re.findall(r"`(P\w+)` (?:is )?(\d+)", DOCS)) == 3
