"""A photo in the store is whole, is what its name says, and stays; whatever happens while it is written."""

from __future__ import annotations

import hashlib
import io
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.photos import PhotoError, PhotoStore


def digest_of(photo: bytes) -> str:
    return hashlib.sha256(photo).hexdigest()


REEF = b"a reef " * 1000
DIGEST = digest_of(REEF)


@pytest.fixture
def store(tmp_path: Path) -> PhotoStore:
    return PhotoStore(tmp_path / "photos")


def put(store: PhotoStore, photo: bytes = REEF, digest: str | None = None) -> bool:
    return store.put(io.BytesIO(photo), digest or digest_of(photo))


def key_of(raised: pytest.ExceptionInfo[PhotoError]) -> str:
    return raised.value.faults[0].key


@given(st.binary(max_size=3000))
def test_what_is_put_in_comes_out_the_same(tmp_path_factory: pytest.TempPathFactory, photo: bytes) -> None:
    store = PhotoStore(tmp_path_factory.mktemp("photos"))
    assert put(store, photo)
    with store.open(digest_of(photo)) as file:
        assert file.read() == photo


def test_a_photo_put_in_again_is_known_and_changes_nothing(store: PhotoStore) -> None:
    assert put(store)
    before = store.path(DIGEST).stat()
    assert not put(store)
    assert store.path(DIGEST).stat() == before


def test_a_photo_stands_under_its_digest(store: PhotoStore) -> None:
    put(store)
    assert store.path(DIGEST) == store.folder / DIGEST[:2] / DIGEST
    assert store.path(DIGEST).read_bytes() == REEF


def test_all_photos_are_listed_in_order(store: PhotoStore) -> None:
    photos = [bytes([n]) * 100 for n in range(30)]
    for photo in photos:
        put(store, photo)
    assert list(store.digests()) == sorted(digest_of(photo) for photo in photos)


def test_an_empty_store_holds_nothing(store: PhotoStore) -> None:
    assert (list(store.digests()), list(store.check()), store.has(DIGEST), store.sweep()) == ([], [], False, 0)


def test_other_bytes_than_promised_are_refused_and_leave_nothing(store: PhotoStore) -> None:
    with pytest.raises(PhotoError) as raised:
        put(store, REEF[:-1], DIGEST)
    assert raised.value.faults[0].data == {"said": DIGEST, "true": digest_of(REEF[:-1])}
    assert [path for path in store.folder.rglob("*") if path.is_file()] == []


def test_a_photo_that_was_refused_can_be_sent_again(store: PhotoStore) -> None:
    with pytest.raises(PhotoError):
        put(store, b"", DIGEST)
    assert put(store)


@pytest.mark.parametrize("error", [ConnectionResetError, TimeoutError, KeyError])
def test_a_stream_that_breaks_off_leaves_nothing_and_its_own_error(store: PhotoStore, error: type[Exception]) -> None:
    class Cut(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            raise error

    with pytest.raises(error):
        store.put(Cut(), DIGEST)
    assert [path for path in store.folder.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("digest", ["", "../../etc/passwd", "..", DIGEST.upper(), DIGEST[:-1], DIGEST + "\n", "/" + DIGEST[1:]])
def test_what_is_no_digest_never_becomes_a_path(store: PhotoStore, digest: str) -> None:
    with pytest.raises(PhotoError) as raised:
        store.path(digest)
    assert key_of(raised) == "photos.no_digest"


def test_a_photo_that_is_not_here_is_said(store: PhotoStore) -> None:
    with pytest.raises(PhotoError) as raised:
        store.open(DIGEST)
    assert key_of(raised) == "photos.not_held"


def test_every_rotten_and_every_stray_file_is_named(store: PhotoStore) -> None:
    put(store)
    put(store, b"good")
    store.path(DIGEST).write_bytes(REEF[:-1] + b"?")
    (store.folder / "Thumbs.db").write_bytes(b"")
    (store.path(DIGEST).parent / "copy.jpg").write_bytes(REEF)
    (store.folder / "00").mkdir()
    (store.folder / "00" / DIGEST).write_bytes(REEF)
    found = {(fault.key, Path(fault.data["file"]).name) for fault in store.check()}
    assert found == {
        ("photos.rotten", DIGEST),
        ("photos.stray", "Thumbs.db"),
        ("photos.stray", "copy.jpg"),
        ("photos.stray", DIGEST),
    }


def test_every_flipped_bit_of_a_photo_is_noticed(store: PhotoStore) -> None:
    photo = b"coral"
    put(store, photo)
    for bit in range(8 * len(photo)):
        flipped = bytearray(photo)
        flipped[bit // 8] ^= 1 << bit % 8
        store.path(digest_of(photo)).write_bytes(flipped)
        assert [fault.key for fault in store.check()] == ["photos.rotten"]


def test_a_link_in_the_store_is_a_stray(store: PhotoStore, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_bytes(REEF)
    store.path(DIGEST).parent.mkdir(parents=True)
    store.path(DIGEST).symlink_to(tmp_path / "elsewhere")
    assert [fault.key for fault in store.check()] == ["photos.stray"]


def test_a_rotten_photo_that_is_moved_away_can_be_taken_in_again(store: PhotoStore) -> None:
    put(store)
    store.path(DIGEST).write_bytes(b"rot")
    store.path(DIGEST).rename(store.folder.parent / "set aside")
    assert put(store)
    assert list(store.check()) == []


def test_many_at_once_with_the_same_photo_keep_it_once(store: PhotoStore) -> None:
    answers: list[bool] = []
    threads = [threading.Thread(target=lambda: answers.append(put(store))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(answers), any(answers)) == (8, True)
    assert [path.name for path in store.folder.rglob("*") if path.is_file()] == [DIGEST]


def test_a_photo_larger_than_a_piece_is_kept_whole(store: PhotoStore) -> None:
    photo = bytes(range(256)) * 10_000
    put(store, photo)
    assert list(store.check()) == []


FULL_DISK = """
import io, hashlib, resource, signal, sys
from pathlib import Path
from fieldkit.photos import PhotoError, PhotoStore
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
photo = bytes(3_000_000)
try:
    PhotoStore(Path(sys.argv[1])).put(io.BytesIO(photo), hashlib.sha256(photo).hexdigest())
except PhotoError as error:
    print(error.faults[0].key)
"""


def test_a_full_disk_is_said_and_leaves_nothing(store: PhotoStore) -> None:
    run = subprocess.run([sys.executable, "-c", FULL_DISK, str(store.folder)], capture_output=True, text=True, check=False)
    assert run.stdout == "photos.disk_full\n", run.stderr
    assert [path for path in store.folder.rglob("*") if path.is_file()] == []


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "photos").write_bytes(b"a file stands where the folder should be")
    with pytest.raises(PhotoError) as raised:
        put(PhotoStore(tmp_path / "photos"))
    assert key_of(raised) == "photos.cannot_write"


PUT_FOR_EVER = """
import hashlib, io, itertools, sys
from pathlib import Path
from fieldkit.photos import PhotoStore
store = PhotoStore(Path(sys.argv[1]))
for n in itertools.count():
    photo = str(n).encode() * 100_000
    digest = hashlib.sha256(photo).hexdigest()
    store.put(io.BytesIO(photo), digest)
    print(digest, flush=True)
"""


@pytest.mark.parametrize("moment", range(6))
def test_a_killed_writer_loses_nothing_that_it_acknowledged_and_leaves_no_half_photo(store: PhotoStore, moment: int) -> None:
    with subprocess.Popen([sys.executable, "-c", PUT_FOR_EVER, str(store.folder)], stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        acknowledged = [writer.stdout.readline().decode().strip() for _ in range(2)]
        time.sleep(0.003 * moment)
        writer.send_signal(signal.SIGKILL)
        acknowledged += writer.stdout.read().decode().split()
    assert set(acknowledged) <= set(store.digests())
    assert list(store.check()) == []


def test_what_a_killed_writer_left_is_swept_away_and_nothing_else(store: PhotoStore) -> None:
    put(store)
    left, fresh = (store.folder / "partial" / f"{DIGEST}.{noise}" for noise in ("0badcafe", "0fee1bad"))
    for partial in (left, fresh):
        partial.write_bytes(REEF[:50])
    two_days_ago = time.time() - 2 * 24 * 60 * 60
    os.utime(left, (two_days_ago, two_days_ago))
    assert (store.sweep(), store.sweep(), fresh.exists()) == (1, 0, True)
    assert (list(store.digests()), list(store.check())) == ([DIGEST], [])


def test_a_photo_is_forced_to_the_disk_before_it_has_its_name(store: PhotoStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bytes, then name, then both folders: any other order can lose an acknowledged photo to a power cut."""
    steps: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def spied_fsync(handle: int) -> None:
        name = Path(f"/proc/self/fd/{handle}").readlink()
        steps.append("bytes" if name.parent.name == "partial" else name.name)
        fsync(handle)

    def spied_replace(path: Path, target: Path) -> Path:
        steps.append("name")
        return replace(path, target)

    put(store, b"makes the folders")
    store.path(DIGEST).parent.mkdir(exist_ok=True)
    monkeypatch.setattr(os, "fsync", spied_fsync)
    monkeypatch.setattr(Path, "replace", spied_replace)
    put(store)
    assert (steps[:2], set(steps[2:])) == (["bytes", "name"], {DIGEST[:2], "partial"})
