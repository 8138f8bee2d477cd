"""docs/import.md says what the import does: every name and key, and examples that give what they say they give."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from fieldkit.register.sheets import Taken, read_mapping
from fieldkit.register.sheets.mapping import LAYOUTS, NAMES, STATUSES

PAGE = (Path(__file__).parents[3] / "docs" / "import.md").read_text("utf-8")
BLOCKS = re.findall(r"```(csv|toml|text)\n(.*?)```", PAGE, re.DOTALL)
MAPPING_KEYS = ("layout", "date_order", "decimal", "blank", "[columns]", "[status]", "[words.", "[constants]", "[[visit]]")


def account(taken: Taken) -> str:
    head = f"{taken.corals} corals, {taken.rows_taken} rows taken, {taken.rows_refused} refused"
    return "\n".join([head, *(one.text() for one in (*taken.refused, *taken.asks, *taken.left))]) + "\n"


def example(start: int) -> tuple[str, str, str]:
    """The sheet, mapping and account that begin at a block; without a mapping, an empty one."""
    kinds = [kind for kind, _ in BLOCKS[start : start + 3]]
    bodies = [body for _, body in BLOCKS[start : start + 3]]
    return (bodies[0], bodies[1], bodies[2]) if kinds == ["csv", "toml", "text"] else (bodies[0], "", bodies[1])


@pytest.mark.parametrize("start", [place for place, (kind, _) in enumerate(BLOCKS) if kind == "csv"])
def test_an_example_gives_what_the_page_says(take_csv: Any, start: int) -> None:
    sheet, mapping, told = example(start)
    assert account(take_csv(sheet, mapping)) == told


@pytest.mark.parametrize("mapping", [body for kind, body in BLOCKS if kind == "toml"])
def test_every_mapping_on_the_page_is_read(mapping: str) -> None:
    assert read_mapping(mapping.encode()).layout in LAYOUTS


@pytest.mark.parametrize("name", [*NAMES, *LAYOUTS, *STATUSES])
def test_every_name_is_explained(name: str) -> None:
    assert re.search(rf"(?<![a-z_]){name}(?![a-z_])", PAGE)


@pytest.mark.parametrize("key", MAPPING_KEYS)
def test_every_key_of_a_mapping_file_is_explained(key: str) -> None:
    assert key in PAGE
