"""Every observation with its session, its values and what became of it."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from fieldkit.base import Base
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.observations import observations
from tests.support.programme import Reef, base_of


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Base:
    reef = Reef()
    kai, noa = reef.dive("kai", "2024-06-01"), reef.dive("noa", "2024-06-02")
    row = reef.see(kai, "101")
    kai.say("observation", {**row.values, "status": "dead"}, [row.digest])
    reef.see(kai, "1O2")
    reef.see(noa, "201", plot="B")
    reef.see(reef.dive("mei", "2024-06-02", practice=True), "101")
    return base_of(tmp_path_factory.mktemp("base") / "base", reef.entries(), [reef.protocol])


def told(base: Base, **where: str) -> list[dict[str, Any]]:
    with base.view() as view:
        return observations(view, where)


def test_every_observation_ever_made_is_told_with_its_fate(base: Base) -> None:
    assert Counter(one["fate"] for one in told(base)) == {"counted": 2, "superseded": 1, "in a matter": 1, "practice": 1}


def test_an_observation_is_told_with_where_when_and_by_whom(base: Base) -> None:
    (one,) = told(base, recorder="noa")
    assert [one[key] for key in ("day", "site", "plot", "coral", "noted")] == ["2024-06-02", "Amo", "B", "201", "201"]


def test_its_values_stand_as_they_were_noted(base: Base) -> None:
    (one,) = told(base, noted="1O2")
    assert (one["values"]["tag"], one["values"]["status"], one["coral"]) == ("1O2", "alive", None)


@pytest.mark.parametrize(
    ("where", "n"),
    [
        ({"plot": "b"}, 1),
        ({"fate": "IN A MATTER"}, 1),
        ({"recorder": "kai", "fate": "counted"}, 1),
        ({"day": "2030-01-01"}, 0),
    ],
)
def test_only_those_are_told_that_were_asked_for(base: Base, where: dict[str, str], n: int) -> None:
    assert len(told(base, **where)) == n


def test_a_key_that_observations_do_not_have_is_refused_with_those_that_they_do(base: Base) -> None:
    with pytest.raises(QuestionError, match="site, plot, coral, recorder, day, fate"):
        told(base, colour="red")
