"""Ratios of losses to those due, once sites and groups have had their share: cases small enough to see through."""

from __future__ import annotations

import numpy as np
import pytest

from fieldkit.reports.ranking.balance import Balance, balance
from fieldkit.reports.ranking.tally import Sums, Tally


def tally_of(lost: list[list[float]], due: list[list[float]]) -> Tally:
    """One plot a site."""
    table, nothing = np.array(due, dtype=float), np.zeros((len(due), len(due[0])))
    return Tally(Sums((table > 0) * 10.0, np.array(lost, dtype=float), table, nothing, nothing), np.arange(len(due)))


def found(lost: list[list[float]], due: list[list[float]]) -> Balance:
    return balance(tally_of(lost, due))


def test_where_all_stand_everywhere_alike_it_is_losses_to_losses_due() -> None:
    assert found([[4, 2], [8, 4]], [[3, 3], [6, 6]]).ratio.tolist() == pytest.approx([4 / 3, 2 / 3])


def test_a_group_is_not_judged_by_its_company() -> None:
    # The first group stands beside one that loses half as many, where it seems poor, and beside one that loses twice as many,
    # where it seems good. Half of what a site lost is due from either.
    balanced = found([[8, 4, 0], [8, 0, 16]], [[6, 6, 0], [12, 0, 12]])
    assert (balanced.ratio / balanced.ratio[0]).tolist() == pytest.approx([1, 0.5, 2], abs=1e-6)


def test_as_many_losses_are_due_to_a_set_as_were_seen() -> None:
    balanced = found([[8, 4, 0], [8, 0, 16]], [[6, 6, 0], [12, 0, 12]])
    assert balanced.due.sum() == pytest.approx(36)


def test_groups_that_no_site_ties_together_are_sets_of_their_own() -> None:
    balanced = found([[4, 2, 0, 0], [0, 0, 6, 2]], [[3, 3, 0, 0], [0, 0, 4, 4]])
    assert balanced.sets.tolist() == [0, 0, 1, 1]
    assert balanced.ratio.tolist() == pytest.approx([4 / 3, 2 / 3, 6 / 4, 2 / 4])


def test_a_group_at_two_sites_ties_them_together() -> None:
    assert len(set(found([[4, 2, 0], [0, 2, 4]], [[3, 3, 0], [0, 3, 3]]).sets.tolist())) == 1


def test_a_group_that_lost_nothing_ties_nothing_together() -> None:
    assert found([[4, 0, 0], [0, 0, 4]], [[2, 2, 0], [0, 2, 2]]).sets.tolist() == [0, 0, 1]


def test_a_group_that_lost_nothing_has_the_ratio_0() -> None:
    assert found([[6, 0]], [[3, 3]]).ratio.tolist() == [2, 0]


def test_where_nothing_was_lost_there_is_no_ratio() -> None:
    assert np.isnan(found([[0, 0]], [[0, 0]]).ratio).all()
