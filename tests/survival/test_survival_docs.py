"""The page that defines the figures says what the library does: its examples run, and no public function is left out."""

from __future__ import annotations

import doctest
import inspect
from pathlib import Path

import fieldkit.survival as library

PAGE = Path(__file__).parents[2] / "docs" / "survival.md"


def test_every_example_on_the_page_gives_what_the_page_says() -> None:
    result = doctest.testfile(str(PAGE), module_relative=False)
    assert result.failed == 0
    assert result.attempted > 20


def test_every_public_function_is_on_the_page() -> None:
    functions = [name for name in library.__all__ if inspect.isfunction(getattr(library, name))]
    assert [name for name in functions if f"`{name}" not in PAGE.read_text("utf-8")] == []
