"""From bytes to a protocol: what is read, and that bytes of any form give a protocol or its faults and nothing else."""

from __future__ import annotations

import hashlib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.protocol import Protocol, ProtocolError, read_protocol
from fieldkit.protocol.reading import MAX_BYTES


def faults_of(body: bytes) -> list[str]:
    with pytest.raises(ProtocolError) as refused:
        read_protocol(body, name="ours.toml")
    return [fault.key.removeprefix("protocol.") for fault in refused.value.faults]


def test_the_head_is_read(every_kind: Protocol) -> None:
    head = (every_kind.name, every_kind.version, every_kind.title["es"], every_kind.same_visit_days, every_kind.last_seen)
    assert head == ("every-kind", 2, "Cada clase", 2, "shown")
    assert every_kind.blind_repeats == Decimal("12.5")


def test_what_the_head_leaves_out_has_a_default(every_kind_text: str) -> None:
    text = every_kind_text.replace('same_visit = "P2D"\nlast_seen = "shown"\nblind_repeats = "12.5"\n', "")
    protocol = read_protocol(text.encode())
    assert (protocol.same_visit_days, protocol.last_seen, protocol.blind_repeats) == (1, "hidden", None)


def test_a_field_is_read(every_kind: Protocol) -> None:
    width = every_kind.field("width_cm")
    assert width is not None
    assert (width.of, width.kind, width.role, width.unit, width.required) == ("coral", "number", "size", "cm", False)
    assert (width.min, width.max, width.agree_within, width.step) == (Decimal("0.1"), Decimal(200), Decimal("0.5"), None)


def test_choices_are_read_in_the_order_of_the_file(every_kind: Protocol) -> None:
    signs = every_kind.field("signs")
    assert signs is not None
    assert [(choice.value, choice.code, choice.label["en"]) for choice in signs.values] == [
        ("none", "-", "None"),
        ("spots", "S", "Spots"),
        ("bands", "B", "Bands"),
    ]


def test_earlier_names_are_a_text_or_a_list(every_kind: Protocol) -> None:
    assert [field.was for field in every_kind.fields][:2] == [("state",), ()]
    assert [choice.was for choice in every_kind.fields[0].values] == [("living", "ok"), (), ()]


def test_a_percentage_lies_in_0_to_100(every_kind: Protocol) -> None:
    live = every_kind.field("live")
    assert live is not None
    assert (live.min, live.max) == (0, 100)


def test_conditions_are_read_as_plain_data(every_kind: Protocol) -> None:
    field = every_kind.field("animals_removed")
    assert field is not None
    assert field.only_where == {"animals": ("snails", "stars")}


def test_fields_are_found_by_name_by_role_and_by_what_they_are_of(every_kind: Protocol) -> None:
    status = every_kind.with_role("status")
    assert status is every_kind.field("status")
    assert every_kind.with_role("cause") is every_kind.field("state") is None
    assert [field.name for field in every_kind.fields_of("head")] == ["depth_m"]


def test_rounds_are_windows_of_days_in_order_of_age(every_kind: Protocol) -> None:
    windows = [(one.name, one.age_days, one.early_days, one.late_days) for one in every_kind.rounds]
    assert windows == [("month 1", 30, 23, 37), ("month 3", 91, 77, 119)]


def test_a_round_holds_both_ends_of_its_window(every_kind: Protocol) -> None:
    month_3 = every_kind.rounds[1]
    assert [day for day in (76, 77, 91, 119, 120) if month_3.holds(day)] == [77, 91, 119]


def test_rounds_may_touch_without_sharing_a_day(every_kind_text: str) -> None:
    text = every_kind_text.replace('early = "P2W"', 'early = "P53D"')  # month 1 ends on day 37, month 3 begins on day 38
    assert [one.early_days for one in read_protocol(text.encode()).rounds] == [23, 38]


def test_all_well_is_what_an_entry_would_say(every_kind: Protocol) -> None:
    assert every_kind.all_well == {"status": "alive", "signs": ["none"]}


def test_a_protocol_may_have_neither_rounds_nor_limits_nor_all_well(every_kind_text: str) -> None:
    protocol = read_protocol(every_kind_text[: every_kind_text.index("[all_well]")].encode())
    assert (protocol.rounds, dict(protocol.plausible), dict(protocol.all_well)) == ((), {}, {})


def test_the_digest_is_that_of_the_bytes(every_kind: Protocol, every_kind_text: str) -> None:
    assert every_kind.body == every_kind_text.encode()
    assert every_kind.digest == hashlib.sha256(every_kind.body).hexdigest()


def test_protocols_are_equal_where_their_bytes_are(every_kind: Protocol) -> None:
    again, other = read_protocol(every_kind.body), read_protocol(every_kind.body + b"\n")
    assert again == every_kind != other
    assert len({again, every_kind, other}) == 2


@pytest.mark.parametrize("before", ["\ufeff", "\r\n", "# ñ\n"])
def test_a_file_from_any_editor_is_taken(before: str, every_kind_text: str) -> None:
    body = (before + every_kind_text.replace("\n", "\r\n")).encode()
    assert read_protocol(body).fields == read_protocol(every_kind_text.encode()).fields


@pytest.mark.parametrize(
    ("fields", "fault"), [("field = []", "no_field"), ("field = 3", "not_a_list_of_tables"), ("", "no_field")]
)
def test_fields_that_are_none_are_one_fault(fields: str, fault: str, every_kind_text: str) -> None:
    head = every_kind_text[: every_kind_text.index("[[field]]")]
    assert faults_of(f"{fields}\n{head}".encode()) == [fault]


def test_a_file_that_is_too_large_is_refused_unread() -> None:
    assert faults_of(b"#" * (MAX_BYTES + 1)) == ["too_large"]


def test_the_largest_file_is_read(every_kind_text: str) -> None:
    body = every_kind_text.encode()
    assert read_protocol(body + b"#" * (MAX_BYTES - len(body))).name == "every-kind"


@pytest.mark.parametrize("body", [b'a = 1\nb = "\xff"\n', "a = 1\nb = 'é'".encode("latin-1"), "a = 1".encode("utf-16")])
def test_what_is_not_utf8_is_refused_with_its_line(body: bytes) -> None:
    assert faults_of(body) == ["not_utf8"]


def test_the_line_of_a_byte_that_is_not_utf8_is_told() -> None:
    with pytest.raises(ProtocolError, match="line 3"):
        read_protocol(b"# one\n# two\n# thr\xe9e\n")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[protocol]\nname = "x\n', 2),
        ("[protocol\n", 1),
        ("a = 1\na = 2\n", 2),
        ("a = [1,\n\n", 1),
        ("[a]\n[b]\n[a]\n", 3),
        ("x", 1),
    ],
)
def test_what_is_no_toml_is_refused_with_its_line(text: str, line: int) -> None:
    with pytest.raises(ProtocolError) as refused:
        read_protocol(text.encode())
    (fault,) = refused.value.faults
    assert (fault.key, fault.data["line"]) == ("protocol.not_toml", line)


@pytest.mark.parametrize("body", [b"a=" + b"[" * 100_000, b"a." * 100_000 + b"a=1", b"a=" + b"{a=" * 300 + b"1" + b"}" * 300])
def test_a_file_without_bottom_is_refused_before_it_is_parsed(body: bytes) -> None:
    assert faults_of(body) == ["too_deep"]


def test_a_number_of_too_many_digits_is_refused() -> None:
    assert faults_of(b"a = " + b"9" * 5000) == ["not_toml"]


def test_values_are_quoted_as_the_file_writes_them(every_kind_text: str) -> None:
    values = {
        "true": "true",
        "2.50": "2.50",
        "1979-05-27": "1979-05-27",
        "[ true, 0x" + "f" * 5000 + " ]": "[true, …]",
        '{ a = "b" }': "{'a': 'b'}",
    }
    for written, shown in values.items():
        with pytest.raises(ProtocolError) as refused:
            read_protocol(every_kind_text.replace("version = 2", f"version = {written}").encode())
        assert refused.value.faults[0].data["value"] == shown


def test_faults_of_every_part_are_told_together_in_the_order_of_their_lines(every_kind_text: str) -> None:
    text = every_kind_text.replace("version = 2", "version = -2").replace('kind = "percent"', 'kind = "procent"')
    text = (
        text.replace('code = "T"', 'code = "S"')
        .replace('early = "P2W"', 'early = "soon"')
        .replace('signs = ["none"]', 'signs = ["no"]')
    )
    assert faults_of(text.encode()) == ["bad_version", "code_twice", "not_one_of", "not_in_list", "bad_duration"]


def test_what_hangs_on_a_faulty_field_is_not_blamed_for_it(every_kind_text: str) -> None:
    text = every_kind_text.replace('name = "status"\nof = "coral"', 'name = "status"\nof = "corral"')
    assert faults_of(text.encode()) == ["not_one_of"]


def test_the_nearest_known_name_is_offered(every_kind_text: str) -> None:
    with pytest.raises(ProtocolError) as refused:
        read_protocol(every_kind_text.replace("agree_within", "agrees_within", 1).encode())
    assert [fault.data["known"] for fault in refused.value.faults] == ["agree_within"]


@given(body=st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_bytes_of_any_form_give_a_protocol_or_its_faults(body: bytes) -> None:
    with pytest.raises(ProtocolError) as refused:
        read_protocol(body)
    assert all(told for told in refused.value.texts("es"))


PIECES = (
    """
[[field]] | [protocol] | [[round]] | [all_well] | [plausible] | [field] | [field.label] | round = 3 | name = "a" | name = 1
of = "coral" | kind = "choice" | kind = "flag" | label = { en = "a", es = "b" } | label = 3 | values = [ { value = "a" }, 3 ]
only_where = { a = ["yes"] } | only_where = { a = 3 } | was = [[1]] | age = "P1M" | early = "P0D" | late = "P1D" | version = 1
title = { en = "a", es = "b" } | a = 1979-05-27 | b = inf | "" = 1
""".strip()
    .replace("\n", " | ")
    .split(" | ")
)


@given(pieces=st.lists(st.sampled_from(PIECES) | st.text("[]{}=\"'.,#\n a1", max_size=9), max_size=25))
def test_broken_protocols_are_refused_and_nothing_else_happens(pieces: list[str]) -> None:
    try:
        read_protocol("\n".join(pieces).encode())
    except ProtocolError as refused:
        assert refused.texts("en") and refused.texts("es")


@given(data=st.data())
def test_one_byte_changed_gives_a_protocol_or_its_faults(every_kind_text: str, data: st.DataObject) -> None:
    body = bytearray(every_kind_text.encode())
    body[data.draw(st.integers(0, len(body) - 1))] = data.draw(st.integers(0, 255))
    try:
        read_protocol(bytes(body))
    except ProtocolError as refused:
        assert refused.texts("en")
