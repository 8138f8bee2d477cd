"""Rows judged by a protocol. The cases are JSON, so that tests in other languages can read them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol, read_protocol, renamed, schema, understand
from fieldkit.protocol.protocol import OF, Of
from fieldkit.protocol.row import understood

CASES = json.loads((Path(__file__).parent.parent / "cases" / "protocol" / "rows.json").read_text("utf-8"))
WORDS = st.sampled_from(["alive", "none", "yes", "no", "spots", "snails", "12,5", "3"])
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | WORDS
NAMES = st.sampled_from(["status", "state", "signs", "animals", "animals_removed", "live", "row", "searched", "_schema"])
KEYS = NAMES | WORDS | st.text(max_size=5)
JSON = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=5))


def as_json(values: dict[str, Any]) -> dict[str, Any]:
    return {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_row_is_understood(case: dict[str, Any], every_kind: Protocol) -> None:
    understood = understand(every_kind, case["of"], case["values"])
    faults = {fault.data["name"]: [fault.key] for fault in understood.faults}
    assert (as_json(understood.values), faults) == (case["understood"], case["faults"])


def test_a_fault_offers_what_was_probably_meant(every_kind: Protocol) -> None:
    told = understand(every_kind, "coral", {"status": "aliv", "sign": ["none"]}).faults
    assert {fault.data["name"]: fault.data["known"] for fault in told} == {"status": "alive", "sign": "signs"}


@pytest.mark.parametrize("values", [None, 3, "alive", ["status", "alive"], True])
def test_what_is_no_row_at_all_is_one_fault(values: Any, every_kind: Protocol) -> None:
    understood = understand(every_kind, "coral", values)
    assert (understood.values, [fault.key for fault in understood.faults]) == ({}, ["protocol.row_no_object"])


def test_what_was_said_is_left_as_it_was(every_kind: Protocol) -> None:
    said = {"state": "living", "signs": ["bands", "dots"], "animals": {"stars": "01"}}
    understand(every_kind, "coral", said)
    assert said == {"state": "living", "signs": ["bands", "dots"], "animals": {"stars": "01"}}


@given(values=JSON, of=st.sampled_from(OF))
def test_values_of_any_form_are_judged_and_never_raise(every_kind: Protocol, values: Any, of: Of) -> None:
    understood = understand(every_kind, of, values)
    assert not understood.values.keys() & {fault.data["name"] for fault in understood.faults}
    assert all(fault.text("en") and fault.text("es") for fault in understood.faults)


@given(values=st.dictionaries(NAMES, JSON, max_size=6))
def test_what_was_understood_is_understood_again_without_a_fault(every_kind: Protocol, values: dict[str, Any]) -> None:
    understood = understand(every_kind, "coral", values)
    again = understand(every_kind, "coral", as_json(understood.values))
    assert again.values == understood.values
    assert {fault.key for fault in again.faults} <= {"protocol.required"}


@given(values=st.dictionaries(NAMES, JSON, max_size=6))
def test_everything_said_is_understood_or_named(every_kind: Protocol, values: dict[str, Any]) -> None:
    understood = understand(every_kind, "coral", values)
    accounted = understood.values.keys() | {fault.data["name"] for fault in understood.faults} | {"row", "searched"}
    assert renamed(every_kind.fields, values).keys() <= accounted


@given(values=st.dictionaries(NAMES, JSON, max_size=6))
def test_the_short_way_through_a_row_understands_what_its_schema_does(every_kind: Protocol, values: dict[str, Any]) -> None:
    assert understand(every_kind, "coral", values) == understood(schema(every_kind, "coral")(), values)


def test_the_schema_of_a_file_is_built_once(every_kind: Protocol) -> None:
    assert schema(every_kind, "coral") is schema(read_protocol(every_kind.body), "coral")
    assert schema(every_kind, "coral") is not schema(every_kind, "head")


def test_the_schema_loads_what_is_right_and_raises_faults_for_what_is_not(every_kind: Protocol) -> None:
    assert schema(every_kind, "head")().load({"depth_m": "3,5"}) == {"depth_m": "3.5"}
    with pytest.raises(ValidationError) as refused:
        schema(every_kind, "head")().load({"depth_m": "deep", "dept": "3"})
    assert {name: [type(one) for one in found] for name, found in refused.value.normalized_messages().items()} == {
        "depth_m": [Fault],
        "dept": [Fault],
    }


NEW_FIELD = """
[[field]]
name = "{name}"
of = "coral"
kind = "number"
unit = "cm"
max = "90"
label = {{ en = "Height", es = "Altura" }}
"""


@pytest.mark.parametrize("name", ["height_cm", "load", "fields", "context", "declared_fields", "opts", "validate"])
def test_adding_a_field_to_the_file_and_nothing_else_adds_it_to_the_rows(name: str, every_kind_text: str) -> None:
    """Also where marshmallow has something of that name."""
    text = every_kind_text.replace("[all_well]", f"{NEW_FIELD.format(name=name)}\n[all_well]")
    protocol = read_protocol(text.encode())
    assert name in schema(protocol, "coral")().fields
    assert understand(protocol, "coral", {"status": "dead", name: "12,5"}).values == {"status": "dead", name: "12.5"}
    assert [fault.key for fault in understand(protocol, "coral", {"status": "dead", name: "91"}).faults] == [
        "protocol.above_max"
    ]


def test_without_the_field_in_the_file_it_is_unknown(every_kind: Protocol) -> None:
    faults = understand(every_kind, "coral", {"status": "dead", "height_cm": "12"}).faults
    assert [fault.key for fault in faults] == ["protocol.unknown_field"]


def test_a_protocol_may_ask_for_what_a_planting_says(every_kind_text: str) -> None:
    text = every_kind_text.replace("[all_well]", f"{NEW_FIELD.format(name='size_cm')}\n[all_well]")
    faults = understand(read_protocol(text.encode()), "coral", {"status": "dead", "size_cm": "91"}).faults
    assert [fault.key for fault in faults] == ["protocol.above_max"]
