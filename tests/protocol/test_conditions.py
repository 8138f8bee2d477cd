"""Where a field applies. The cases are JSON: Python and JavaScript must give the same answers."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.protocol import Protocol, applies

CASES = json.loads((Path(__file__).parent.parent / "cases" / "protocol" / "conditions.json").read_text("utf-8"))
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)
)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_field_applies_where_its_conditions_hold(case: dict[str, Any], every_kind: Protocol) -> None:
    field = replace(every_kind.fields[0], only_where={name: tuple(wanted) for name, wanted in case["only_where"].items()})
    assert applies(field, case["values"]) is case["applies"]


@given(values=st.dictionaries(st.sampled_from(["status", "animals", "x"]), JSON))
def test_values_of_any_form_are_no_trouble(every_kind: Protocol, values: dict[str, Any]) -> None:
    assert all(applies(field, values) in (True, False) for field in every_kind.fields)


def test_no_two_cases_carry_the_same_name() -> None:
    names = [case["name"] for case in CASES]
    assert len(names) == len(set(names))
