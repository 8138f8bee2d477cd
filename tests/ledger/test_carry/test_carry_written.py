"""What is written comes back, is the same bytes every time, and has its name only when it is whole."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit import durable
from fieldkit.ledger import CarryError, Entry, mint, new_id
from fieldkit.ledger.carry import About, read_carry, write_carry
from fieldkit.ledger.carry.form import MAX_CONTENT

IDS = st.integers(0, 2**48 - 1).map(lambda n: new_id(n, bytes(10)))
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
ABOUTS = st.builds(About, IDS, TEXT, IDS)
ENTRIES = st.builds(
    mint,
    st.sampled_from(["observation", "planting", "close", "ruling"]),
    device=IDS,
    session=IDS,
    seq=st.integers(1, 50),
    at=st.integers(-(2**50), 2**50),
    values=st.dictionaries(st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True), TEXT, max_size=4),
)
CONTENT = st.lists(st.tuples(st.sampled_from(["protocols", "photos"]), st.binary(max_size=200)), max_size=4, unique=True)


def named(blobs: list[tuple[str, bytes]]) -> list[tuple[str, str, bytes]]:
    return [(folder, hashlib.sha256(blob).hexdigest(), blob) for folder, blob in blobs]


@given(ABOUTS, st.lists(ENTRIES, max_size=8), CONTENT)
def test_all_that_is_written_comes_back(
    tmp_path_factory: pytest.TempPathFactory, about: About, entries: list[Entry], blobs: list[tuple[str, bytes]]
) -> None:
    file = tmp_path_factory.mktemp("round") / "day.zip"
    write_carry(file, about, entries, named(blobs))
    with read_carry(file) as carry:
        assert (carry.about, list(carry.entries())) == (about, entries)
        found = [(folder, digest, reader.read()) for folder, digest, reader in carry.content()]
    assert sorted(found) == sorted(named(blobs))
    assert (carry.is_whole, carry.faults) == (True, [])


@given(ABOUTS, st.lists(ENTRIES, max_size=4), CONTENT)
def test_the_same_input_gives_the_same_bytes(
    tmp_path_factory: pytest.TempPathFactory, about: About, entries: list[Entry], blobs: list[tuple[str, bytes]]
) -> None:
    folder = tmp_path_factory.mktemp("twice")
    for name in ("one.zip", "other.zip"):
        write_carry(folder / name, about, entries, named(blobs))
    assert (folder / "one.zip").read_bytes() == (folder / "other.zip").read_bytes()


def test_the_bytes_are_those_of_every_machine(tmp_path: Path) -> None:
    """Committed samples must not change with the Python, the system or the hour that wrote them."""
    device = new_id(1, bytes(10))
    entry = mint("observation", device=device, session=device, seq=1, at=0, values={"tag": "A01"})
    write_carry(tmp_path / "day.zip", About(device, "Trial", device), [entry], named([("photos", b"photo")]))
    digest = hashlib.sha256((tmp_path / "day.zip").read_bytes()).hexdigest()
    assert digest == "74347af509ee10a43f70d2c5f1d0ead092d282c6913ca7e6e7e08bd6ed892bb8"


def test_what_was_written_is_counted(day: Any) -> None:
    count = write_carry(day.file, day.about, day.entries, day.content)
    assert (count.entries, count.content, count.bytes) == (24, {"protocols": 1, "photos": 3}, len(day.raw))


def test_another_zip_program_reads_it(day: Any) -> None:
    with zipfile.ZipFile(day.file) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
    assert names == ["about.json", "entries.txt", *(f"{folder}/{digest}" for folder, digest, _ in day.content), "end.json"]


def test_protocols_come_before_photos_in_whatever_order_they_are_given(day: Any) -> None:
    write_carry(day.file, day.about, [], day.content[::-1])
    with read_carry(day.file) as carry:
        assert [folder for folder, _, _ in carry.content()] == ["protocols", "photos", "photos", "photos"]


def test_a_photo_given_twice_is_carried_once(day: Any) -> None:
    assert write_carry(day.file, day.about, [], day.content * 2).content == {"protocols": 1, "photos": 3}


def test_photos_are_read_from_files(day: Any, tmp_path: Path) -> None:
    (tmp_path / "photo").write_bytes(b"reef")
    digest = hashlib.sha256(b"reef").hexdigest()
    write_carry(day.file, day.about, [], [("photos", digest, tmp_path / "photo")])
    with read_carry(day.file) as carry:
        assert [reader.read() for _, _, reader in carry.content()] == [b"reef"]


def test_a_rotten_photo_is_left_out_by_name_and_the_rest_is_carried(day: Any) -> None:
    count = write_carry(day.file, day.about, day.entries, [*day.content, ("photos", "0" * 64, b"rotten")])
    assert [fault.key for fault in count.left_out] == ["carry.content_rotten"]
    assert count.left_out[0].data["name"] == "photos/" + "0" * 64
    assert count.content["photos"] == 3


def test_a_photo_that_is_gone_is_left_out_by_name(day: Any, tmp_path: Path) -> None:
    count = write_carry(day.file, day.about, day.entries, [("photos", "0" * 64, tmp_path / "gone")])
    assert [fault.key for fault in count.left_out] == ["carry.content_unreadable"]


def test_a_protocol_larger_than_any_is_left_out(day: Any) -> None:
    count = write_carry(day.file, day.about, [], named([("protocols", bytes(256 * 1024 + 1))]))
    assert [fault.key for fault in count.left_out] == ["carry.content_too_large"]


def test_too_many_photos_for_one_file_are_refused_before_anything_is_written(day: Any) -> None:
    before = day.raw
    many = [("photos", f"{n:064x}", b"") for n in range(MAX_CONTENT + 1)]
    with pytest.raises(CarryError):
        write_carry(day.file, day.about, [], many)
    assert day.raw == before


def test_the_programme_of_a_file_is_known_before_anything_else_is_read(day: Any) -> None:
    with read_carry(day.file) as carry:
        assert carry.about == day.about
        assert carry.faults == []


def test_entries_that_fail_on_the_way_leave_the_old_file_alone(day: Any) -> None:
    before = day.raw

    def cut() -> Any:
        yield day.entries[0]
        raise ConnectionError

    with pytest.raises(CarryError):
        write_carry(day.file, day.about, cut(), [])
    assert (day.raw, list(day.file.parent.iterdir())) == (before, [day.file])


def test_a_card_that_keeps_other_bytes_than_it_was_given_leaves_no_file(day: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def keep_badly(file: Any) -> None:
        file.flush()
        with Path(file.name).open("r+b") as card:
            card.seek(2000)
            card.write(b"?")

    before = day.raw
    monkeypatch.setattr(durable, "force", keep_badly)
    with pytest.raises(CarryError) as raised:
        write_carry(day.file, day.about, day.entries, day.content)
    assert raised.value.faults[0].key == "carry.read_back"
    assert (day.raw, list(day.file.parent.iterdir())) == (before, [day.file])


def test_a_full_disk_is_said_and_leaves_the_old_file_alone(day: Any) -> None:
    before = day.raw
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(day.file)], capture_output=True, text=True, env={**os.environ}, check=False
    )
    assert "carry.cannot_write" in run.stdout, run.stderr
    assert (day.raw, list(day.file.parent.iterdir())) == (before, [day.file])


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from fieldkit.ledger import CarryError, mint, new_id
from fieldkit.ledger.carry import About, write_carry
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
name = new_id(1)
entries = (mint("observation", device=name, session=name, seq=n, at=0, values={"note": "x" * 500}) for n in range(1, 2000))
try:
    write_carry(Path(sys.argv[1]), About(name, "Trial", name), entries, [])
except CarryError as error:
    print(error.faults[0].key)
"""

WRITE_FOR_EVER = """
import itertools, sys
from pathlib import Path
from fieldkit.ledger import mint, new_id
from fieldkit.ledger.carry import About, write_carry
name = new_id(1)
def entries():
    for n in itertools.count(1):
        yield mint("observation", device=name, session=name, seq=n, at=0, values={"note": "x" * 500})
        if n == 500:
            print("half-way", flush=True)
write_carry(Path(sys.argv[1]), About(name, "Trial", name), entries(), [])
"""


@pytest.mark.parametrize("there_before", [False, True])
def test_a_writer_killed_half_way_leaves_no_half_file_under_the_name(tmp_path: Path, there_before: bool) -> None:
    file = tmp_path / "day.zip"
    if there_before:
        file.write_bytes(b"as it was")
    with subprocess.Popen([sys.executable, "-c", WRITE_FOR_EVER, str(file)], stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(0.05)
        writer.send_signal(signal.SIGKILL)
    assert (file.read_bytes() if file.exists() else None) == (b"as it was" if there_before else None)
    assert all(left.suffix == ".partial" for left in tmp_path.iterdir() if left != file)
