"""Files made to do harm: refused by name, in bounded memory, with everything honest in them still read."""

from __future__ import annotations

import hashlib
import io
import stat
import struct
import tracemalloc
import warnings
import zipfile
from pathlib import Path
from typing import Any

import pytest

from fieldkit.ledger import CarryError, canonical
from fieldkit.ledger.carry import Carry, read_carry, reading
from fieldkit.ledger.carry.form import FORMAT, MAX_LINE
from fieldkit.ledger.carry.reading import MAX_FAULTS

DIGEST = hashlib.sha256(b"reef").hexdigest()
OTHER = hashlib.sha256(b"other").hexdigest()


def repacked(day: Any, extra: list[tuple[Any, bytes]], *, before_end: bool = True, method: int = zipfile.ZIP_STORED) -> Path:
    """The day's file packed anew with more members, by another program."""
    with zipfile.ZipFile(day.file) as archive:
        members: list[tuple[Any, bytes]] = [(name, archive.read(name)) for name in archive.namelist()]
    members[-1:] = [*extra, members[-1]] if before_end else [members[-1], *extra]
    file: Path = day.file.with_name("tricky.zip")
    with zipfile.ZipFile(file, "w", method) as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # zipfile warns of a name that stands twice
        for name, body in members:
            archive.writestr(name, body)
    return file


def read(file: Path) -> tuple[int, int, list[str], bool]:
    """How many entries and members are good, the faults, and whether it is whole."""
    with read_carry(file) as carry:
        entries = len(list(carry.entries()))
        good = 0
        for _, _, reader in carry.content():
            try:
                reader.read()
                good += 1
            except CarryError:
                continue
    return entries, good, [fault.key.removeprefix("carry.") for fault in carry.faults], carry.is_whole


@pytest.mark.parametrize(
    "name",
    [
        "../photos/" + DIGEST,
        "photos/../../" + DIGEST,
        "/photos/" + DIGEST,
        "C:\\photos\\" + DIGEST,
        "photos\\" + DIGEST,
        "photos/" + DIGEST + "/",
        "photos/" + DIGEST.upper(),
        "photos/" + DIGEST + ".jpg",
        "photos/..",
        "photos/",
        "series/" + DIGEST,
        "fieldkit.db",
        "PHOTOS/" + DIGEST,
        "photos/" + DIGEST[:-1] + "é",
        "n" * 60_000,
    ],
)
def test_a_name_that_is_none_of_ours_is_refused(day: Any, name: str) -> None:
    entries, good, faults, is_whole = read(repacked(day, [(name, b"reef")]))
    assert (entries, good, is_whole) == (24, 4, False)
    assert "name_refused" in faults


def test_a_member_that_end_json_does_not_list_is_named(day: Any) -> None:
    assert read(repacked(day, [("photos/" + DIGEST, b"reef")]))[2:] == (["not_listed"], False)


def test_a_member_after_end_json_is_refused(day: Any) -> None:
    _, good, faults, is_whole = read(repacked(day, [("photos/" + DIGEST, b"reef")], before_end=False))
    assert (good, "name_refused" in faults, is_whole) == (4, True, False)


def test_a_name_that_stands_twice_counts_once(day: Any) -> None:
    photo = day.content[-1]
    assert read(repacked(day, [("photos/" + photo[1], photo[2])]))[1:] == (4, ["twice"], False)


def test_bytes_under_the_name_of_another_digest_are_refused(day: Any) -> None:
    _, good, faults, _ = read(repacked(day, [("photos/" + OTHER, b"reef")]))
    assert (good, faults) == (4, ["member_damaged"])


def test_a_link_is_refused(day: Any) -> None:
    link = zipfile.ZipInfo("photos/" + DIGEST)
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    faults = read(repacked(day, [(link, b"reef")]))[2]
    assert "link" in faults


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_file_packed_anew_with_compression_is_refused_and_says_so(day: Any, method: int) -> None:
    with pytest.raises(CarryError) as raised:
        read(repacked(day, [], method=method))
    assert raised.value.faults[0].key == "carry.compressed"


@pytest.mark.parametrize(("flag", "key"), [(0x01, "encrypted"), (0x41, "encrypted"), (0x08, "unsized")])
@pytest.mark.parametrize("member", ["about.json", "photos/"])
def test_what_is_not_stored_plainly_is_refused_by_name(day: Any, flag: int, key: str, member: str) -> None:
    raw = bytearray(day.raw)
    raw[raw.index(member.encode()) - 30 + 6] |= flag
    day.file.write_bytes(raw)
    try:
        assert key in read(day.file)[2]
    except CarryError as error:
        assert (member, error.faults[0].key) == ("about.json", f"carry.{key}")


def test_entries_that_are_compressed_are_refused_by_name(day: Any) -> None:
    info = zipfile.ZipInfo("entries.txt")
    with zipfile.ZipFile(day.file.with_name("c.zip"), "w") as archive, zipfile.ZipFile(day.file) as whole:
        archive.writestr("about.json", whole.read("about.json"))
        archive.writestr(info, whole.read("entries.txt"), zipfile.ZIP_DEFLATED)
        archive.writestr("end.json", whole.read("end.json"))
    assert read(day.file.with_name("c.zip"))[2][0] == "compressed"


def test_bytes_beyond_the_size_in_a_header_are_a_named_gap(day: Any) -> None:
    photo = day.content[-1][2]
    raw = day.raw.replace(photo, photo + b"smuggled")
    day.file.write_bytes(raw)
    entries, good, faults, is_whole = read(day.file)
    assert (entries, good, is_whole, "gap" in faults) == (24, 4, False, True)


def test_a_protocol_larger_than_any_is_refused(day: Any) -> None:
    big = bytes(256 * 1024 + 1)
    faults = read(repacked(day, [("protocols/" + hashlib.sha256(big).hexdigest(), big)]))[2]
    assert faults[0] == "member_too_large"


def test_a_photo_whose_header_claims_gigabytes_is_refused_unread(day: Any) -> None:
    raw = bytearray(day.raw)
    at = raw.index(b"photos/") - 30
    raw[at + 18 : at + 26] = struct.pack("<LL", 2**31, 2**31)
    day.file.write_bytes(raw)
    assert "member_too_large" in read(day.file)[2]


def test_more_members_than_a_carry_file_may_hold_are_refused(day: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MAX_CONTENT", 5)
    extra = [(f"photos/{hashlib.sha256(bytes([n])).hexdigest()}", bytes([n])) for n in range(4)]
    _, good, faults, _ = read(repacked(day, extra))
    assert (good, faults.count("too_many_members")) == (5, 3)


def test_the_directory_may_not_name_what_does_not_stand_in_the_file(day: Any) -> None:
    raw = day.raw
    at = raw.rindex(b"photos/")
    day.file.write_bytes(raw[:at] + b"../../" + raw[at + 6 :])
    assert read(day.file)[2:] == (["only_in_directory"], False)


def test_bytes_after_the_directory_are_noticed(day: Any) -> None:
    day.file.write_bytes(day.raw + b"PK\x03\x04 and more")
    assert read(day.file)[2] == ["directory_torn"]


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"format": "something else"}, "no_carry_file"),
        ({"version": 2}, "other_version"),
        ({"version": None}, "other_version"),
        ({"programme": "Our reef"}, "about_incomplete"),
        ({"programme": 7}, "about_incomplete"),
        ({"programme_name": 7}, "about_incomplete"),
        ({"source": None}, "about_incomplete"),
    ],
)
def test_a_file_that_does_not_say_whose_it_is_is_refused_whole(day: Any, changed: dict[str, Any], key: str) -> None:
    about = {
        "format": FORMAT,
        "version": 1,
        "programme": day.about.programme,
        "programme_name": "Trial",
        "source": day.about.source,
    }
    file = day.file.with_name("about.zip")
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("about.json", canonical(about | changed))
    with pytest.raises(CarryError) as raised, read_carry(file):
        pass
    assert raised.value.faults[0].key == f"carry.{key}"


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"a": 1}', b"[" * 3000, b"x" * 5000])
def test_an_about_json_that_cannot_be_read_is_refused_whole(day: Any, body: bytes) -> None:
    file = day.file.with_name("about.zip")
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("about.json", body)
    with pytest.raises(CarryError), read_carry(file):
        pass


@pytest.mark.parametrize("name", ["gone.zip", "."])
def test_what_cannot_be_opened_is_said(tmp_path: Path, name: str) -> None:
    with pytest.raises(CarryError) as raised, read_carry(tmp_path / name):
        pass
    assert raised.value.faults[0].key == "carry.cannot_open"


def with_entries(day: Any, body: bytes) -> Path:
    file: Path = day.file.with_name("entries.zip")
    with zipfile.ZipFile(day.file) as whole, zipfile.ZipFile(file, "w") as archive:
        archive.writestr("about.json", whole.read("about.json"))
        archive.writestr("entries.txt", body)
    return file


def test_a_line_longer_than_any_entry_is_refused_and_the_next_is_read(day: Any) -> None:
    long = b"x" * (3 * MAX_LINE)
    entries, _, faults, _ = read(with_entries(day, day.entries[0].line + long + b"\n" + day.entries[1].line))
    assert (entries, faults[0]) == (2, "line_too_long")


def test_an_entry_that_fills_all_its_room_is_read(day: Any) -> None:
    from_bytes = day.entries[0].body.replace(b'"tag"', b'"t":"%s","tag"' % (b"x" * (16 * 1024 - len(day.entries[0].body) - 7)))
    line = hashlib.sha256(from_bytes).hexdigest().encode() + b" " + from_bytes + b"\n"
    assert len(line) == MAX_LINE
    assert read(with_entries(day, line))[0] == 1


def test_a_line_that_is_whole_and_no_entry_says_why(day: Any) -> None:
    body = b'{"v":1}'
    line = hashlib.sha256(body).hexdigest().encode() + b" " + body + b"\n"
    entries, _, faults, _ = read(with_entries(day, line + day.entries[0].line))
    assert (entries, faults[:2]) == (1, ["line_no_entry", "ledger.envelope"])


def test_faults_beyond_a_thousand_are_counted_not_kept(day: Any) -> None:
    faults = read(with_entries(day, b"not a line\n" * 5000))[2]
    assert len(faults) == MAX_FAULTS + 1
    assert faults[-1] == "more_faults"


def peak_of(file: Path) -> int:
    tracemalloc.start()
    try:
        with read_carry(file) as carry:
            carry.prove()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "body", [b"x" * 2**25, b"\n" * 2**15, b"PK\x03\x04" * 2**22, b"PK" * 2**23], ids=["one line", "LF", "headers", "PK"]
)
def test_memory_stays_bounded_whatever_the_entries_are(day: Any, body: bytes) -> None:
    assert peak_of(with_entries(day, body)) < 8 * 2**20


def test_memory_stays_bounded_for_a_large_photo(day: Any) -> None:
    photo = bytes(2**25)
    file = repacked(day, [("photos/" + hashlib.sha256(photo).hexdigest(), photo)])
    assert peak_of(file) < 8 * 2**20


class CountedFile(io.FileIO):
    """A file that counts the bytes that are read from it."""

    count = 0

    def readinto(self, buffer: Any, /) -> int:
        size = super().readinto(buffer)
        self.count += size
        return size


def test_a_file_full_of_false_headers_is_read_in_linear_time(day: Any) -> None:
    """Each header claims the largest photo; to read what each claims, or a whole window behind each, would take hours."""
    header = struct.pack("<4s5H3L2H", b"PK\x03\x04", 20, 0, 0, 0, 33, 0, 2**26, 2**26, 71, 0) + f"photos/{DIGEST}".encode()
    file = with_entries(day, b"")
    raw = file.read_bytes()
    file.write_bytes(raw[: raw.index(b"PK\x01\x02")] + header * 20_000)
    counted = CountedFile(file)
    with io.BufferedReader(counted) as opened:
        carry = Carry(opened, "false.zip")
        carry.prove()
    assert carry.faults[-1].key == "carry.more_faults"
    assert counted.count < 300 * file.stat().st_size
