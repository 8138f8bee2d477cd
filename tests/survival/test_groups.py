"""Labels of any kind, in an order that the rows do not decide."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fieldkit.survival import kaplan_meier


def labels(group: Any) -> list[Any]:
    return list(kaplan_meier(np.arange(1, len(group) + 1), np.ones(len(group)), group=group))


@pytest.mark.parametrize(
    ("group", "expected"),
    [
        (["slope", "flat", "slope"], ["flat", "slope"]),
        (np.array(["slope", "flat", "slope"]), ["flat", "slope"]),
        ([3, 1, 3], [1, 3]),
        (np.array([3, 1, 3]), [1, 3]),
        (np.array([3, 1, 3], dtype=np.uint8), [1, 3]),
        (np.array([10**15, -4, 10**15]), [-4, 10**15]),
        (np.array([True, False]), [0, 1]),
        ([("flat", "AC1"), ("flat", "AB2")], [("flat", "AB2"), ("flat", "AC1")]),
        (np.array([["flat", "AC1"], ["flat", "AB2"]]), [("flat", "AB2"), ("flat", "AC1")]),
        ([0.5, 0.25], [0.25, 0.5]),
        ([None, "flat"], [None, "flat"]),
        (["flat", None], [None, "flat"]),
    ],
)
def test_labels_come_in_order(group: Any, expected: list[Any]) -> None:
    assert labels(group) == expected


def test_a_curve_is_found_by_its_label_as_python_or_numpy_writes_it() -> None:
    curves = kaplan_meier([1, 2], [1, 1], group=np.array([7, 8]))
    assert curves[7] is curves[np.int64(7)]  # type: ignore[index]


def test_a_label_that_is_not_there_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="reef"):
        kaplan_meier([1, 2], [1, 1], group=["flat", "slope"])["reef"]


def test_results_by_label_say_which_labels_they_have() -> None:
    assert repr(kaplan_meier([1, 2], [1, 1], group=["flat", "slope"])) == "ByGroup('flat', 'slope')"


def test_no_rows_have_no_labels() -> None:
    assert labels(np.array([], dtype=int)) == labels([]) == []
