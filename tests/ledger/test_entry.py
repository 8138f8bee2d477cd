"""An entry is its bytes; what is wrong with bytes that are none is said by name."""

from __future__ import annotations

import hashlib
import json
import uuid
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.ledger import EntryError, canonical, derived_id, is_digest, is_id, mint, new_id, read, read_line
from fieldkit.ledger.entry import MAX_BYTES, MAX_REPLACES

DEVICE, SESSION = new_id(1764052800123, bytes(10)), new_id(1764052800124, bytes(10))
ENVELOPE: dict[str, Any] = {
    "v": 1,
    "kind": "observation",
    "device": DEVICE,
    "session": SESSION,
    "seq": 17,
    "at": 1764052800123,
    "replaces": [],
    "values": {"tag": "A07"},
}
DIGESTS = st.binary(min_size=32, max_size=32).map(bytes.hex)


def faults_of(**changed: Any) -> list[str]:
    with pytest.raises(EntryError) as raised:
        read(canonical(ENVELOPE | changed))
    return [str(fault.data.get("name", fault.key)) for fault in raised.value.faults]


def observation(**values: Any) -> bytes:
    return mint("observation", device=DEVICE, session=SESSION, seq=1, at=0, values=values).body


def test_an_entry_is_known_by_the_sha_256_of_its_bytes() -> None:
    body = canonical(ENVELOPE)
    assert read(body).digest == hashlib.sha256(body).hexdigest()


def test_what_is_minted_reads_the_same() -> None:
    entry = mint("observation", device=DEVICE, session=SESSION, seq=17, at=1764052800123, values={"tag": "A07"})
    assert read(entry.body) == entry
    assert json.loads(entry.body) == ENVELOPE


def test_an_entry_keeps_every_part_of_its_envelope() -> None:
    entry = read(canonical(ENVELOPE | {"replaces": ["a" * 64]}))
    assert (entry.v, entry.kind, entry.device, entry.session, entry.seq, entry.at) == (
        1,
        "observation",
        DEVICE,
        SESSION,
        17,
        1764052800123,
    )
    assert (entry.replaces, entry.values) == (("a" * 64,), {"tag": "A07"})


@given(st.lists(DIGESTS, max_size=6))
def test_the_order_in_which_replaced_digests_are_named_changes_nothing(replaces: list[str]) -> None:
    def minted(names: list[str]) -> bytes:
        return mint("retract", device=DEVICE, session=SESSION, seq=1, at=0, values={}, replaces=names).body

    assert minted(replaces) == minted(replaces[::-1] + replaces)


def test_values_may_be_any_mapping() -> None:
    assert (
        observation(tag="A07")
        == mint("observation", device=DEVICE, session=SESSION, seq=1, at=0, values=MappingProxyType({"tag": "A07"})).body
    )


@given(st.data())
def test_one_flipped_bit_in_a_line_is_always_noticed(data: st.DataObject) -> None:
    line = read(canonical(ENVELOPE)).line.removesuffix(b"\n")
    bit = data.draw(st.integers(0, 8 * len(line) - 1))
    flipped = bytearray(line)
    flipped[bit // 8] ^= 1 << bit % 8
    with pytest.raises(EntryError):
        read_line(bytes(flipped))


def test_every_single_flipped_bit_of_a_line_is_noticed() -> None:
    line = read(observation(tag="A1")).line.removesuffix(b"\n")
    for bit in range(8 * len(line)):
        flipped = bytearray(line)
        flipped[bit // 8] ^= 1 << bit % 8
        with pytest.raises(EntryError):
            read_line(bytes(flipped))


def test_a_line_is_read_with_and_without_its_end() -> None:
    entry = read(canonical(ENVELOPE))
    assert read_line(entry.line) == read_line(entry.line[:-1]) == entry


@pytest.mark.parametrize("name", ENVELOPE)
def test_an_envelope_without_one_of_its_parts_is_refused(name: str) -> None:
    short = {key: value for key, value in ENVELOPE.items() if key != name}
    with pytest.raises(EntryError) as raised:
        read(canonical(short))
    assert raised.value.faults[0].data["missing"] == name


def test_an_unknown_part_is_refused_in_this_version() -> None:
    with pytest.raises(EntryError) as raised:
        read(canonical(ENVELOPE | {"signature": "x"}))
    assert raised.value.faults[0].data["unknown"] == "signature"


def test_an_entry_of_a_later_version_may_say_more() -> None:
    entry = read(canonical(ENVELOPE | {"v": 2, "signature": "x"}))
    assert not entry.is_understood


def test_an_unknown_kind_is_read_and_not_understood() -> None:
    entry = read(canonical(ENVELOPE | {"kind": "weather"}))
    assert (entry.is_understood, entry.family) == (False, None)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("v", 0),
        ("v", True),
        ("v", "1"),
        ("kind", "Observation"),
        ("kind", ""),
        ("kind", "x" * 33),
        ("kind", None),
        ("device", "me"),
        ("device", DEVICE.upper()),
        ("session", ""),
        ("session", SESSION + "\n"),
        ("seq", 0),
        ("seq", -1),
        ("seq", True),
        ("at", "now"),
        ("at", False),
        ("replaces", None),
        ("replaces", ["x"]),
        ("replaces", ["b" * 64, "a" * 64]),
        ("replaces", ["a" * 64, "a" * 64]),
        ("replaces", {}),
        ("values", []),
        ("values", None),
    ],
)
def test_a_part_that_cannot_be_is_refused_by_name(name: str, value: object) -> None:
    assert faults_of(**{name: value}) == [name]


@pytest.mark.parametrize("at", [0, -1, -62_000_000_000_000, 4_000_000_000_000])
def test_no_entry_is_refused_for_its_clock(at: int) -> None:
    assert read(canonical(ENVELOPE | {"at": at})).at == at


def test_too_many_replaced_digests_are_refused() -> None:
    digests = [f"{n:064x}" for n in range(MAX_REPLACES + 1)]
    assert read(canonical(ENVELOPE | {"replaces": digests[:-1]})).replaces == tuple(digests[:-1])
    assert faults_of(replaces=digests) == ["replaces"]


def test_an_entry_may_fill_its_16_kib_and_no_byte_more() -> None:
    room = MAX_BYTES - len(observation(note=""))
    assert len(observation(note="x" * room)) == MAX_BYTES
    with pytest.raises(EntryError):
        observation(note="x" * (room + 1))


@pytest.mark.parametrize("body", [b"[]", b"null", b'"entry"', b"1"])
def test_what_is_no_object_is_no_entry(body: bytes) -> None:
    with pytest.raises(EntryError) as raised:
        read(body)
    assert raised.value.faults[0].key == "ledger.no_object"


def test_a_uuid_of_version_7_is_laid_out_as_the_rfc_prints_it() -> None:
    """Source: RFC 9562, appendix A.6 (2022-02-22T19:22:22.000Z), from memory."""
    noise = bytes.fromhex("0cc318c4dc0c0c07398f")
    assert new_id(0x017F22E279B0, noise) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@given(st.integers(-(2**63), 2**63), st.binary(min_size=10, max_size=10))
def test_every_new_id_is_a_uuid_of_version_7_by_the_standard_library_too(at: int, noise: bytes) -> None:
    made = uuid.UUID(new_id(at, noise))
    assert (made.version, made.variant) == (7, uuid.RFC_4122)
    assert is_id(str(made))


def test_two_new_ids_of_the_same_moment_differ() -> None:
    assert new_id(1) != new_id(1)


def test_a_derived_id_is_the_same_everywhere() -> None:
    octets = bytearray(hashlib.sha256(b'["import","row 7"]').digest()[:16])
    octets[6] = 0x80 | octets[6] & 0x0F
    octets[8] = 0x80 | octets[8] & 0x3F
    assert derived_id("import", "row 7") == str(uuid.UUID(bytes=bytes(octets)))


def test_derived_ids_of_other_names_differ_wherever_the_names_are_cut() -> None:
    assert derived_id("ab", "c") != derived_id("a", "bc")


@pytest.mark.parametrize("text", [None, 7, "", "0" * 64, DEVICE.upper(), DEVICE + "\n", "0" * 36])
def test_what_is_no_id_is_told_apart(text: object) -> None:
    assert not is_id(text)


@pytest.mark.parametrize("text", [None, 7, "", "a" * 63, "A" * 64, "a" * 64 + "\n", "g" * 64])
def test_what_is_no_digest_is_told_apart(text: object) -> None:
    assert not is_digest(text)
