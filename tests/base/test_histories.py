"""What the base packs for figures is what its rows of corals say, no more and no less."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import NONE, Base, Histories
from fieldkit.base.histories import AGES, ANSWERED, TEXTS, packed, unpacked


@pytest.fixture(scope="module")
def corals(sample: Path) -> tuple[Histories, list[dict[str, Any]]]:
    """Of the sample on the evening after its boat day, with slips that nobody has settled yet."""
    with Base(sample).view() as view:
        return view.histories(), view.rows("SELECT * FROM coral ORDER BY unit, id")


@pytest.mark.parametrize("name", TEXTS)
def test_each_text_is_that_of_the_corals_row(corals: Any, name: str) -> None:
    kept, rows = corals
    assert [kept.names[place] for place in kept.texts[name].tolist()] == [coral[name] for coral in rows]


@pytest.mark.parametrize("name", AGES)
def test_each_age_is_that_of_the_corals_row(corals: Any, name: str) -> None:
    kept, rows = corals
    assert kept.ages[name].tolist() == [NONE if coral[name] is None else coral[name] for coral in rows]


@pytest.mark.parametrize("name", ANSWERED)
def test_the_answers_are_those_of_the_corals_in_dispute(corals: Any, name: str) -> None:
    kept, rows = corals
    expected = [NONE if coral[name] is None else coral[name] for coral in rows if coral["disputed"]]
    assert kept.answered[name].tolist() == expected
    assert expected


def test_order_of_corals_does_not_change_what_is_kept(corals: Any) -> None:
    values = [tuple(coral.values()) for coral in corals[1]]
    assert set(packed(values)) == set(packed(values[::-1]))


def test_without_corals_nothing_is_kept() -> None:
    nothing = unpacked([])
    assert {column.size for column in (*nothing.texts.values(), *nothing.ages.values(), *nothing.answered.values())} == {0}
