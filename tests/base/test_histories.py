"""What the base packs for figures is what its rows of corals say, no more and no less."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import NONE, Base, Histories
from fieldkit.base.histories import AGES, ANSWERED, TEXTS, packed, unpacked

SAMPLE = Path(__file__).parents[2] / "sample_surveys"


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[Histories, list[dict[str, Any]]]:
    """The sample on the evening after its boat day, with slips that nobody has settled yet."""
    base, _ = Base.join(tmp_path_factory.mktemp("sample") / "base", SAMPLE / "programme.zip")
    for carry in sorted((SAMPLE / "boat_day").glob("*.zip")):
        base.merge(carry)
    with base.view() as view:
        return view.histories(), view.rows("SELECT * FROM coral ORDER BY unit, id")


@pytest.mark.parametrize("name", TEXTS)
def test_each_text_is_that_of_the_corals_row(sample: Any, name: str) -> None:
    kept, corals = sample
    assert [kept.names[place] for place in kept.texts[name].tolist()] == [coral[name] for coral in corals]


@pytest.mark.parametrize("name", AGES)
def test_each_age_is_that_of_the_corals_row(sample: Any, name: str) -> None:
    kept, corals = sample
    assert kept.ages[name].tolist() == [NONE if coral[name] is None else coral[name] for coral in corals]


@pytest.mark.parametrize("name", ANSWERED)
def test_the_answers_are_those_of_the_corals_in_dispute(sample: Any, name: str) -> None:
    kept, corals = sample
    expected = [NONE if coral[name] is None else coral[name] for coral in corals if coral["disputed"]]
    assert kept.answered[name].tolist() == expected
    assert expected


def test_order_of_corals_does_not_change_what_is_kept(sample: Any) -> None:
    _, corals = sample
    rows = [tuple(coral.values()) for coral in corals]
    assert set(packed(rows)) == set(packed(rows[::-1]))


def test_without_corals_nothing_is_kept() -> None:
    nothing = unpacked([])
    assert {column.size for column in (*nothing.texts.values(), *nothing.ages.values(), *nothing.answered.values())} == {0}
