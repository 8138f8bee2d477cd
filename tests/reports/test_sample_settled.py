"""The sample, settled as the truth says: every flaw takes its true answer, and the figures come to hold the true survival."""

from __future__ import annotations

from pathlib import Path
from shutil import copytree
from typing import Any

import pytest

from fieldkit.base import Base, Statement
from tests.reports.planted import SITES, TRUTH, figures, flaws, settle

AGES = {"P12M": 365, "P24M": 730}
SEARCH = 1e-9  # the search for the masses ends where it is surely as near as this to the greatest likelihood


@pytest.fixture(scope="module")
def told(sample: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Base, dict[str, Any], dict[str, Any]]:
    """The base once settled, and survival by site before and after."""
    base = Base(copytree(sample, tmp_path_factory.mktemp("base") / "sample"))
    question = {"by": ("site",), "at": tuple(AGES.values())}
    before = figures(base, **question)
    for flaw in flaws():
        settle(base, flaw)
    return base, before, figures(base, **question)


def known(found: dict[str, Any], site: str, treatment: str, age: int) -> float:
    """Survival at the age at which that of a nominal one is known."""
    (group,) = [group for group in found["groups"] if SITES[group["group"]["site"]] == site]
    return next(at["known_at"]["survival"] for at in group[f"missing_{treatment}"]["at"] if at["age"] == age)


def true_share(site: str, age: str) -> float:
    return float(TRUTH["survival"]["site"][site][age]["share"])


def misses(found: dict[str, Any], site: str, age: str) -> float:
    """How far the truth lies outside the two figures that always stand side by side."""
    true = true_share(site, age)
    return max(known(found, site, "lost", AGES[age]) - true, true - known(found, site, "open", AGES[age]), 0)


def test_every_flaw_takes_its_true_answer_and_what_is_left_open_is_of_counts(told: Any) -> None:
    with told[0].view() as view:
        assert {matter.kind for matter in view.matters()} == {"count"}


def test_once_all_is_settled_no_observation_waits_and_nothing_ranges(told: Any) -> None:
    found = told[2]
    assert found["unsettled"] == {"observations": 0, "corals": 0}
    ranges = [at["range"] for group in found["groups"] for at in group["missing_lost"]["at"]]
    assert all(low == high for low, high in ranges)


@pytest.mark.parametrize("age", AGES)
@pytest.mark.parametrize("site", SITES.values())
def test_once_settled_the_true_survival_lies_between_the_two_figures(told: Any, site: str, age: str) -> None:
    assert misses(told[2], site, age) == 0


def test_before_it_was_settled_the_truth_lay_outside_at_one_site(told: Any) -> None:
    assert [site for site in SITES.values() if any(misses(told[1], site, age) for age in AGES)] == ["LAN"]


def test_settling_brings_the_figures_nearer_to_the_truth(told: Any) -> None:
    def error(found: dict[str, Any]) -> float:
        middles = {
            (site, age): (known(found, site, "lost", days) + known(found, site, "open", days)) / 2
            for site in SITES.values()
            for age, days in AGES.items()
        }
        return sum(abs(middle - true_share(site, age)) for (site, age), middle in middles.items())

    assert error(told[2]) < error(told[1])


def test_the_ranges_before_held_what_settling_came_to(told: Any) -> None:
    """Where only states were disputed. At Lantern Bommie a day, a site and tags were wrong: a range knows of no such thing."""
    _, before, after = told
    for site in ("OLD", "RAY"):
        (group,) = [group for group in before["groups"] if SITES[group["group"]["site"]] == site]
        for at in group["missing_lost"]["at"]:
            low, high = at["known_at"]["range"]
            assert low - SEARCH <= known(after, site, "lost", at["age"]) <= high + SEARCH


def test_taking_every_ruling_back_gives_the_state_before_them(sample: Path, tmp_path: Path) -> None:
    base = Base(copytree(sample, tmp_path / "sample"))
    before = what_stands(base)
    ruled = []
    for flaw in one_of_each_kind():
        settle(base, flaw)
        with base.view() as view:
            ruled.append(view.ledger.of_kind("ruling")[-1].digest)
    assert what_stands(base) != before
    base.say([Statement("retract", {}, tuple(sorted(ruled)))])
    assert what_stands(base) == before


def one_of_each_kind() -> list[dict[str, Any]]:
    return list({flaw["kind"]: flaw for flaw in flaws()}.values())


def what_stands(base: Base) -> tuple[Any, ...]:
    """Corals, visits, fates and matters, as the state holds them."""
    with base.view() as view:
        return view.corals(), view.seen(), [(one.digest, one.fate) for one in view.observations()], view.matters(settled=True)
