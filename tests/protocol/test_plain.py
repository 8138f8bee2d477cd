"""A protocol as plain data."""

from __future__ import annotations

import json
from dataclasses import fields

from fieldkit.protocol import Choice, Field, Protocol, Round, plain


def test_plain_data_survives_json(every_kind: Protocol) -> None:
    assert json.loads(json.dumps(plain(every_kind))) == plain(every_kind)


def test_plain_data_says_all_that_the_protocol_says(every_kind: Protocol) -> None:
    told = plain(every_kind)
    assert told.keys() == {field.name for field in fields(Protocol)} - {"body"}
    assert told["fields"][0].keys() == {field.name for field in fields(Field)}
    assert told["fields"][0]["values"][0].keys() == {field.name for field in fields(Choice)}
    assert told["rounds"][0].keys() == {field.name for field in fields(Round)}


def test_decimals_are_texts_and_lists_are_lists(every_kind: Protocol) -> None:
    width = next(field for field in plain(every_kind)["fields"] if field["name"] == "width_cm")
    assert (width["min"], width["max"], width["step"]) == ("0.1", "200", None)
    assert plain(every_kind)["fields"][1]["only_where"] == {"status": ["alive"]}


def test_all_well_is_what_an_entry_says(every_kind: Protocol) -> None:
    assert plain(every_kind)["all_well"] == {"status": "alive", "signs": ["none"]}
