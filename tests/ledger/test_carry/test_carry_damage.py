"""A damaged or torn carry file gives back what proves itself, and names the rest."""

from __future__ import annotations

import errno
import io
import os
import struct
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.ledger import CarryError, read_line
from fieldkit.ledger.carry import Carry, read_carry


class Read:
    """Everything that a file gives."""

    def __init__(self, file: Path, raw: bytes) -> None:
        file.write_bytes(raw)
        self.content: list[str] = []
        with read_carry(file) as carry:
            self.digests = [entry.digest for entry in carry.entries()]
            for _, digest, reader in carry.content():
                try:
                    while reader.read(700):
                        pass
                except CarryError:
                    continue
                self.content.append(digest)
        self.carry = carry
        self.keys = {fault.key.removeprefix("carry.") for fault in carry.faults}
        self.texts = [fault.text() for fault in carry.faults]


def lines_before(raw: bytes, cut: int) -> list[str]:
    """Digests of the lines of entries.txt that stand whole before a place, by looking at the bytes alone."""
    start = raw.index(b"entries.txt") + len(b"entries.txt")
    end = raw.index(b"PK\x03\x04", start)
    lines, at = [], start
    for line in raw[start:end].splitlines(keepends=True):
        at += len(line)
        if at - 1 <= cut:  # the line is whole without its LF too
            lines.append(read_line(line).digest)
    return lines


def photos_before(day: Any, cut: int) -> list[str]:
    ends = [
        day.raw.index(f"{folder}/{digest}".encode()) + len(f"{folder}/{digest}") + len(blob)
        for folder, digest, blob in day.content
    ]
    return [digest for (_, digest, _), end in zip(day.content, ends, strict=True) if end <= cut]


def flipped(raw: bytes, bit: int) -> bytes:
    changed = bytearray(raw)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


def test_a_whole_file_has_no_faults(day: Any, tmp_path: Path) -> None:
    read = Read(tmp_path / "copy.zip", day.raw)
    assert (read.digests, read.content) == ([entry.digest for entry in day.entries], day.digests)
    assert (read.carry.is_whole, read.carry.faults) == (True, [])


def test_a_file_cut_at_any_kib_gives_exactly_what_was_whole_before_the_cut(day: Any, tmp_path: Path) -> None:
    for cut in range(1024, len(day.raw), 1024):
        read = Read(tmp_path / "cut.zip", day.raw[:cut])
        assert (read.digests, read.content) == (lines_before(day.raw, cut), photos_before(day, cut)), cut


def test_a_file_cut_at_any_byte_of_its_entries_gives_exactly_the_whole_lines(day: Any, tmp_path: Path) -> None:
    start = day.raw.index(b"entries.txt")
    for cut in range(start, start + 2000, 7):
        assert Read(tmp_path / "cut.zip", day.raw[:cut]).digests == lines_before(day.raw, cut), cut


def test_a_cut_is_always_noticed(day: Any, tmp_path: Path) -> None:
    end = day.raw.index(b"PK\x01\x02")
    for cut in [*range(1024, end, 301), end - 1]:
        read = Read(tmp_path / "cut.zip", day.raw[:cut])
        assert ("torn" in read.keys, read.carry.is_whole) == (True, False), cut


def test_a_cut_within_the_directory_loses_nothing_and_is_said(day: Any, tmp_path: Path) -> None:
    read = Read(tmp_path / "cut.zip", day.raw[:-30])
    assert (read.carry.is_whole, read.keys, len(read.digests)) == (True, {"directory_torn"}, 24)


def test_a_cut_before_it_is_known_whose_file_it_is_gives_nothing(day: Any, tmp_path: Path) -> None:
    for cut in (0, 3, 29, 60, 150):
        with pytest.raises(CarryError):
            Read(tmp_path / "cut.zip", day.raw[:cut])


def test_how_much_of_a_session_is_missing_is_said_where_it_is_known(day: Any, tmp_path: Path) -> None:
    first = day.entries[4].line
    raw = day.raw.replace(first, first.replace(b"alive", b"olive"))
    read = Read(tmp_path / "damaged.zip", raw)
    assert any(f"11 of 12 entries of session {day.entries[0].session}" in text for text in read.texts)
    assert not any(day.entries[-1].session in text for text in read.texts)


def test_how_much_of_a_torn_session_is_missing_is_not_guessed(day: Any, tmp_path: Path) -> None:
    read = Read(tmp_path / "cut.zip", day.raw[: day.raw.index(day.entries[15].line)])
    assert "sessions_unclosed" in read.keys
    assert "session_short" not in read.keys


def test_a_damaged_line_is_named_by_its_number_and_place(day: Any, tmp_path: Path) -> None:
    line = day.entries[4].line
    at = day.raw.index(line)
    read = Read(tmp_path / "damaged.zip", flipped(day.raw, 8 * (at + 100)))
    fault = next(fault for fault in read.carry.faults if fault.key == "carry.line_damaged")
    assert (fault.data["line"], fault.data["offset"]) == (5, at)
    assert len(read.digests) == 23


def test_a_lost_end_of_line_costs_no_other_lines(day: Any, tmp_path: Path) -> None:
    at = day.raw.index(day.entries[4].line) + len(day.entries[4].line) - 1
    assert len(Read(tmp_path / "damaged.zip", flipped(day.raw, 8 * at)).digests) == 22


@pytest.mark.parametrize("name", ["about.json", "entries.txt", "protocols/", "photos/", "end.json"])
def test_one_flipped_bit_in_any_member_is_noticed(day: Any, tmp_path: Path, name: str) -> None:
    start = day.raw.index(name.encode()) + (len(name) if "/" not in name else len(name) + 64)
    end = day.raw.index(b"PK", start)
    for bit in range(8 * start, 8 * end, max(8 * (end - start) // 300, 1) | 1):
        try:
            read = Read(tmp_path / "flipped.zip", flipped(day.raw, bit))
        except CarryError:
            assert name == "about.json"
        else:
            assert (read.carry.is_whole, bool(read.carry.faults)) == (False, True), bit


def test_one_flipped_bit_anywhere_costs_at_most_what_it_stands_in(day: Any, tmp_path: Path) -> None:
    """Two lines where it was the end of one; else one line or one photo. Nothing that is given back is wrong."""
    everything = {entry.digest for entry in day.entries} | set(day.digests)
    after_about = day.raw.index(b"PK\x03\x04", 4)
    for bit in range(8 * after_about, 8 * len(day.raw), 61):
        read = Read(tmp_path / "flipped.zip", flipped(day.raw, bit))
        given_back = [*read.digests, *read.content]
        assert set(given_back) <= everything
        assert len(given_back) >= len(everything) - 2, bit


@pytest.mark.parametrize("field", [18, 22])
@pytest.mark.parametrize("size", [0, 1, 100, 100_000, 2**32 - 1])
def test_a_wrong_size_in_a_header_costs_that_member_at_most(day: Any, tmp_path: Path, field: int, size: int) -> None:
    raw = bytearray(day.raw)
    header = raw.index(b"photos/") - 30
    raw[header + field : header + field + 4] = struct.pack("<L", size)
    read = Read(tmp_path / "wrong.zip", bytes(raw))
    assert len(read.digests) == 24
    assert set(day.digests[2:]) <= set(read.content)
    assert not read.carry.is_whole


@pytest.mark.parametrize("name", ["entries.txt", "photos/", "end.json"])
def test_a_destroyed_header_costs_at_most_its_own_member(day: Any, tmp_path: Path, name: str) -> None:
    raw = bytearray(day.raw)
    header = raw.index(name.encode()) - 30
    raw[header : header + 30] = bytes(30)
    read = Read(tmp_path / "destroyed.zip", bytes(raw))
    assert len(read.digests) == 24
    assert len(read.content) >= 3
    assert not read.carry.is_whole


def test_a_stretch_of_zeros_costs_only_what_it_covers(day: Any, tmp_path: Path) -> None:
    raw = bytearray(day.raw)
    at = raw.index(day.entries[5].line)
    raw[at : at + 700] = bytes(700)
    read = Read(tmp_path / "zeros.zip", bytes(raw))
    assert len(read.digests) >= 24 - 4
    assert read.content == day.digests


class FailingCard(io.FileIO):
    """A file on a card of which one sector cannot be read any more, as the system tells it."""

    bad = 0

    def readinto(self, buffer: Any, /) -> int:
        at = self.tell()
        if at <= self.bad < at + len(buffer):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return super().readinto(buffer)


@pytest.mark.parametrize("at", ["start", "entry", "photo", "end.json"])
def test_a_sector_that_cannot_be_read_costs_only_what_stands_there(day: Any, at: str) -> None:
    card = FailingCard(day.file)
    places = {"start": 0, "entry": day.raw.index(day.entries[3].line), "photo": day.raw.index(day.content[1][2])}
    card.bad = places.get(at, day.raw.index(b"end.json"))
    with io.BufferedReader(card, buffer_size=512) as file:
        if at == "start":
            with pytest.raises(CarryError) as raised:
                Carry(file, "day.zip")
            assert raised.value.faults[0].key == "carry.unreadable"
            return
        carry = Carry(file, "day.zip")
        entries = list(carry.entries())
        carry.prove()
    assert (len(entries) >= 24 - 2 * 4096 // len(day.entries[0].line), carry.is_whole) == (True, False)
    assert "carry.unreadable" in [fault.key for fault in carry.faults]


def test_the_file_is_left_as_it_is(day: Any) -> None:
    raw, before = day.raw, day.file.stat()
    with read_carry(day.file) as carry:
        carry.prove()
    assert (day.raw, day.file.stat().st_mtime_ns) == (raw, before.st_mtime_ns)


def test_reading_may_stop_and_go_on(day: Any) -> None:
    with read_carry(day.file) as carry:
        first = next(carry.entries())
        rest = list(carry.entries())
        assert [first, *rest] == day.entries
        next(carry.content())
        carry.prove()
        assert carry.is_whole


def test_what_the_consumer_does_not_read_is_proved_all_the_same(day: Any, tmp_path: Path) -> None:
    at = day.raw.index(day.content[1][2][:50])
    (tmp_path / "flipped.zip").write_bytes(flipped(day.raw, 8 * at))
    with read_carry(tmp_path / "flipped.zip") as carry:
        assert [digest for _, digest, _ in carry.content()] == day.digests
    assert "carry.member_damaged" in [fault.key for fault in carry.faults]


@pytest.mark.parametrize("size", [1, 100, 2999, 3000, 3001, -1])
def test_a_reader_never_gives_the_last_of_bad_bytes(day: Any, tmp_path: Path, size: int) -> None:
    at = day.raw.index(day.content[1][2][:50])
    (tmp_path / "flipped.zip").write_bytes(flipped(day.raw, 8 * at))
    with read_carry(tmp_path / "flipped.zip") as carry:
        reader = next(reader for _, digest, reader in carry.content() if digest == day.digests[1])
        given_back = 0
        with pytest.raises(CarryError):
            while piece := reader.read(size):
                given_back += len(piece)
    assert given_back < 3000


@given(st.binary(max_size=300), st.booleans())
def test_any_bytes_are_read_or_refused(tmp_path_factory: pytest.TempPathFactory, noise: bytes, is_zip: bool) -> None:
    file = tmp_path_factory.mktemp("noise") / "noise.zip"
    file.write_bytes((b"PK\x03\x04" if is_zip else b"") + noise)
    with pytest.raises(CarryError), read_carry(file):
        pass


@given(data=st.data())
def test_any_damage_leaves_only_true_entries_and_photos(
    tmp_path_factory: pytest.TempPathFactory, whole: bytes, data: st.DataObject
) -> None:
    raw = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw)))
        raw[at : at + data.draw(st.integers(0, 600))] = data.draw(st.binary(max_size=200))
    try:
        read = Read(tmp_path_factory.mktemp("noise") / "noise.zip", bytes(raw))
    except CarryError:
        return
    assert all(text for text in read.texts)
    assert read.carry.is_whole == (not read.keys - {"directory_torn"})
