"""When two recorders agree."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.protocol import Protocol, agree


@pytest.mark.parametrize(
    ("field", "one", "other", "agreed"),
    [
        ("status", "alive", "alive", True),
        ("status", "alive", "dead", False),
        ("live", "90", "100", True),
        ("live", "90", "100.1", False),
        ("live", "100", "90", True),
        ("width_cm", "12.5", "12.50", True),
        ("width_cm", "12.5", "13", True),
        ("width_cm", "12.5", "13.01", False),
        ("width_cm", "0.1", "0.6", True),
        ("width_cm", "big", "big", True),
        ("width_cm", "big", "3", False),
        ("depth_m", "7", "7.0", True),
        ("depth_m", "7", "7.01", False),
        ("signs", ["spots", "bands"], ["bands", "spots"], True),
        ("signs", ["spots", "bands"], ("bands", "spots", "spots"), True),
        ("signs", ["spots"], ["spots", "bands"], False),
        ("signs", ["none"], "none", False),
        ("animals", {"snails": "2"}, {"snails": "02", "stars": "0"}, True),
        ("animals", {"snails": "2"}, {"snails": "3"}, False),
        ("animals", {"snails": "0"}, {"stars": "0"}, True),
        ("animals_removed", "yes", "no", False),
        ("removed_by", "ab", "ab", True),
    ],
)
def test_two_values_agree_as_far_as_the_protocol_asks(
    every_kind: Protocol, field: str, one: Any, other: Any, agreed: bool
) -> None:
    asked = every_kind.field(field)
    assert asked is not None
    assert agree(asked, one, other) is agreed


@given(data=st.data())
def test_agreement_does_not_depend_on_who_is_asked_first(every_kind: Protocol, data: st.DataObject) -> None:
    values = st.none() | st.text(max_size=4) | st.decimals(0, 100, places=1).map(str)
    values |= st.lists(st.sampled_from(["none", "spots"]) | st.none()) | st.dictionaries(
        st.sampled_from("ab"), st.sampled_from("012x")
    )
    field, one, other = data.draw(st.sampled_from(every_kind.fields)), data.draw(values), data.draw(values)
    assert agree(field, one, other) is agree(field, other, one)


@given(data=st.data())
def test_everybody_agrees_with_themselves(every_kind: Protocol, data: st.DataObject) -> None:
    field = data.draw(st.sampled_from(every_kind.fields))
    value = data.draw(
        st.text(max_size=5) | st.lists(st.text(max_size=3)) | st.dictionaries(st.text(max_size=3), st.text(max_size=3))
    )
    assert agree(field, value, value)
