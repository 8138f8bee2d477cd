"""Photos on their way in: an offset is a promise, pieces may be cut anywhere, wrong bytes go, and a full disk is said first."""

from __future__ import annotations

import errno
import os
import shutil
import time
from collections import namedtuple
from pathlib import Path

import pytest

from fieldkit.ledger import new_id, sha256
from fieldkit.photos import incoming
from tests.exchange.devices import Phone, Station, Way

BODY = b"\xff\xd8\xff" + os.urandom(2_500_000)
DIGEST = sha256(BODY)
PIECE = 1024 * 1024
Usage = namedtuple("Usage", "total used free")


def patch(way: Way, offset: int, piece: bytes, *, last: bool = False, digest: str = DIGEST, length: int | None = None) -> int:
    headers = {
        "Content-Type": "application/partial-upload",
        "Upload-Offset": str(offset),
        "Upload-Complete": "?1" if last else "?0",
    }
    if length is not None:
        headers["Upload-Length"] = str(length)
    answer = way.ask("PATCH", f"photos/{digest}", body=piece, headers=headers)
    way.last = answer  # type: ignore[attr-defined]
    return answer.status


def offset_of(way: Way, digest: str = DIGEST) -> tuple[int, str | None]:
    answer = way.ask("HEAD", f"photos/{digest}")
    return answer.status, answer.headers.get("upload-offset")


def send(way: Way, body: bytes = BODY, digest: str = DIGEST) -> list[int]:
    starts = range(0, len(body), PIECE)
    return [patch(way, at, body[at : at + PIECE], last=at + PIECE >= len(body), digest=digest) for at in starts]


def test_a_photo_that_came_in_pieces_is_there_byte_for_byte(way: Way, station: Station) -> None:
    assert send(way) == [204, 204, 204] and station.base.photos.path(DIGEST).read_bytes() == BODY


def test_nothing_of_it_is_here_before_the_first_piece(way: Way) -> None:
    assert offset_of(way)[0] == 404


def test_the_offset_tells_what_is_on_the_disk(way: Way) -> None:
    patch(way, 0, BODY[:1000])
    assert offset_of(way) == (200, "1000")


def test_a_piece_that_does_not_follow_is_told_the_true_offset(way: Way) -> None:
    patch(way, 0, BODY[:1000])
    answers = [(patch(way, at, b"x"), way.last.headers["upload-offset"]) for at in (0, 999, 1001)]  # type: ignore[attr-defined]
    assert answers == [(409, "1000")] * 3 and offset_of(way) == (200, "1000")


def test_wrong_bytes_are_thrown_away_and_said(way: Way, station: Station) -> None:
    assert patch(way, 0, b"something else", last=True) == 422
    assert offset_of(way)[0] == 404 and not station.base.photos.has(DIGEST)


def test_one_device_cannot_spoil_what_another_sends(way: Way, station: Station) -> None:
    other = Way(station, station.paired("crew")[1])
    patch(way, 0, BODY[:PIECE])
    patch(other, 0, b"rubbish")
    assert offset_of(way) == (200, str(PIECE))


def test_a_photo_that_is_here_is_complete_for_everybody(way: Way, station: Station) -> None:
    send(way)
    other = Way(station, station.paired("crew")[1])
    assert offset_of(other) == (200, str(len(BODY))) and patch(other, 0, BODY[:10]) == 204


def test_it_goes_on_after_the_base_was_started_anew(way: Way, station: Station) -> None:
    patch(way, 0, BODY[:PIECE])
    again = Way(Station(station.base), way.token)
    assert offset_of(again) == (200, str(PIECE))
    assert patch(again, PIECE, BODY[PIECE : 2 * PIECE]) == 204 and patch(again, 2 * PIECE, BODY[2 * PIECE :], last=True) == 204
    assert station.base.photos.has(DIGEST)


def partial_of(station: Station) -> Path:
    (partial,) = (station.base.folder / "incoming").iterdir()
    return partial


def test_a_beginning_that_a_power_cut_left_is_continued_where_it_ends(way: Way, station: Station) -> None:
    patch(way, 0, BODY[:PIECE])
    patch(way, PIECE, BODY[PIECE : 2 * PIECE])
    os.truncate(partial_of(station), 4096 * 100)
    again = Way(Station(station.base), way.token)
    assert offset_of(again) == (200, "409600")
    assert [patch(again, at, BODY[at : at + PIECE], last=at + PIECE >= len(BODY)) for at in (409600, 409600 + PIECE)] == [
        204,
        204,
    ]
    assert station.base.photos.path(DIGEST).read_bytes() == BODY


def test_who_goes_on_without_asking_is_told_where_the_power_cut_left_it(way: Way, station: Station) -> None:
    patch(way, 0, BODY[:PIECE])
    os.truncate(partial_of(station), 1000)
    again = Way(Station(station.base), way.token)
    assert patch(again, PIECE, BODY[PIECE : 2 * PIECE]) == 409
    assert again.last.headers["upload-offset"] == "1000"  # type: ignore[attr-defined]


@pytest.mark.parametrize("came", [PIECE, 2 * PIECE, len(BODY)])
def test_zeros_that_a_power_cut_left_are_thrown_away_and_the_photo_is_sent_anew(
    station: Station, phone_and_way: tuple[Phone, Way], came: int
) -> None:
    phone, way = phone_and_way
    phone.open_session()
    phone.photograph(BODY)
    patch(way, 0, BODY[:PIECE])
    partial = partial_of(station)
    partial.write_bytes(bytes(came))
    done = phone.hand_in(Way(Station(station.base), way.token))
    assert (done.photos, done.faults) == (1, []) and station.base.photos.path(DIGEST).read_bytes() == BODY
    assert not partial.exists()


def test_the_whole_is_forced_to_the_disk_before_it_has_its_name_and_the_name_before_it_is_acknowledged(
    way: Way, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def spied_fsync(handle: int) -> None:
        steps.append(Path(f"/proc/self/fd/{handle}").readlink().name)
        fsync(handle)

    def spied_replace(path: Path, target: Path) -> Path:
        steps.append("name")
        return replace(path, target)

    monkeypatch.setattr(os, "fsync", spied_fsync)
    monkeypatch.setattr(Path, "replace", spied_replace)
    send(way)
    device, _, digest = steps[0].rpartition("-")
    assert (digest, bool(device), steps[1]) == (DIGEST, True, "name")
    assert {DIGEST[:2], "photos"} <= set(steps[2:])  # the shelf that holds the name; and, as it is new, what holds the shelf


def test_what_the_disk_refuses_to_force_is_thrown_away_and_sent_anew(
    way: Way, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the system holds of it in memory is not what is on the disk, and another fsync may say that all is well."""

    def failing(_handle: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", failing)
        assert send(way) == [204, 204, 503] and way.last.headers["retry-after"]  # type: ignore[attr-defined]
    assert offset_of(way)[0] == 404 and not station.base.photos.has(DIGEST)
    assert send(way) == [204, 204, 204]


def test_the_length_that_is_announced_is_held_against_the_limit_before_a_byte_is_kept(way: Way) -> None:
    assert patch(way, 0, BODY[:10], length=64 * 1024 * 1024 + 1) == 413 and offset_of(way)[0] == 404


def test_more_than_a_piece_is_refused(way: Way) -> None:
    assert patch(way, 0, BODY[: PIECE + 1]) == 413


def test_no_byte_is_accepted_that_cannot_be_kept(way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = Usage(10**9, 10**9, incoming.RESERVE + len(BODY) - 1)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    assert patch(way, 0, BODY[:PIECE], length=len(BODY)) == 507 and offset_of(way)[0] == 404


@pytest.mark.parametrize("digest", ["0" * 63, "Z" * 64, "..%2f..%2fx", "0" * 64 + "x"])
def test_what_is_no_digest_names_nothing(way: Way, digest: str) -> None:
    assert patch(way, 0, b"x", digest=digest) in (404, 405) and offset_of(way, digest)[0] in (404, 405)


def test_what_nobody_continued_for_a_month_is_swept(tmp_path: Path) -> None:
    store = incoming.Incoming(tmp_path)
    fresh, old = (new_id(0) for _ in range(2))
    for device in (fresh, old):
        store.take(device, DIGEST, incoming.Piece(0, [b"x"], 1, is_last=False), lambda *_: None)
    month_ago = time.time() - incoming.LIFE_SECONDS - 1
    os.utime(tmp_path / f"{old}-{DIGEST}", (month_ago, month_ago))
    assert (store.sweep(), store.offset(old, DIGEST), store.offset(fresh, DIGEST)) == (1, None, 1)


def test_a_protocol_file_travels_as_a_photo_does_and_is_understood(way: Way, station: Station, tmp_path: Path) -> None:
    (digest,) = station.base.protocols.digests()
    body = station.base.protocols.path(digest).read_bytes()
    station.base.protocols.path(digest).unlink()
    asked = way.ask(
        "POST", "photos/lack", body=b'{"photos":["%s"]}' % digest.encode(), headers={"Content-Type": "application/json"}
    )
    assert digest.encode() in asked.body
    assert send(way, body, digest) == [204] and station.base.protocol(digest) is not None
