"""Names of earlier versions brought up to date."""

from __future__ import annotations

from fieldkit.protocol import Protocol, renamed


def test_fields_and_values_come_under_their_names_of_now(every_kind: Protocol) -> None:
    old = {"state": "ok", "signs": ("dots", "bands"), "width_cm": "3"}
    assert renamed(every_kind.fields, old) == {"status": "alive", "signs": ("spots", "bands"), "width_cm": "3"}


def test_what_was_never_renamed_stays(every_kind: Protocol) -> None:
    old = {"status": "dead", "signs": ["none"], "animals": {"snails": "1"}, "unknown": "x"}
    assert renamed(every_kind.fields, old) == old


def test_an_old_name_beside_the_new_one_is_not_dropped(every_kind: Protocol) -> None:
    assert renamed(every_kind.fields, {"state": "alive", "status": "dead"}) == {"state": "alive", "status": "dead"}


def test_the_earlier_name_of_one_field_is_no_name_of_a_value_in_another(every_kind: Protocol) -> None:
    assert renamed(every_kind.fields, {"signs": ["living"], "status": "dots"}) == {"signs": ["living"], "status": "dots"}
