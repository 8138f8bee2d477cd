"""A disk that is full or fails while a phone hands in: it hears which, nothing is lost, and with room it goes on."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.exchange.wire import Https
from fieldkit.photos.incoming import RESERVE
from fieldkit.server.authority import Authority
from tests.exchange.devices import Phone, held
from tests.faults.harness import Server, failing_writes
from tests.support.programme import Reef, base_of

SIZE = RESERVE + 10 * 1024 * 1024


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own, of 42 MiB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "none", disk], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip(f"a small disk can be mounted by root alone: {mounted.stderr.decode().strip()}")
    yield disk
    subprocess.run(["umount", "--lazy", disk], check=True)


def phone_of(base: Base) -> tuple[Phone, str, str]:
    """A phone with a day's notes and a photo, its token, and by whom the base is known."""
    access = Access(base.folder)
    device, token = access.devices.pair(access.devices.invite("crew"), "a phone", "")
    phone = Phone(device.id)
    phone.open_session()
    for _ in range(200):
        phone.say("observation", {"note": "x" * 200})
    phone.photograph(b"\xff\xd8\xff" + Random(1).randbytes(1_500_000))
    return phone, token, Authority.of(base.folder, "Test").as_pem.decode("ascii")


def test_a_full_disk_is_said_and_can_be_read_and_with_room_everything_comes_in(small_disk: Path) -> None:
    reef = Reef()
    base = base_of(small_disk / "base", reef.entries(), [reef.protocol])
    phone, token, authority = phone_of(base)
    before = held(base)
    lines, (photo,) = b"".join(entry.line for entry in phone.entries.values()), phone.photos()
    server = Server(base)
    wire = Https(f"https://127.0.0.1:{server.port}", authority=authority, token=token)
    try:
        filler = small_disk / "filler"
        with filler.open("wb", buffering=0) as file:  # to the last byte
            try:
                while file.write(bytes(4096)):
                    pass
            except OSError:
                pass
        headers = {"Upload-Offset": "0", "Upload-Complete": "?0", "Content-Type": "application/partial-upload"}
        statuses = [
            wire.ask("POST", "entries", body=lines).status,
            wire.ask("PATCH", f"photos/{photo}", body=phone.pictures[photo][:1000], headers=headers).status,
            wire.ask("GET", "register").status,
        ]
        assert (statuses, held(base)) == ([507, 507, 200], before)
        filler.unlink()
        done = phone.hand_in(wire)
        assert (done.refused, done.faults, done.photos) == ([], [], 1)
        assert phone.entries.keys() <= held(base) and base.photos.has(photo)
    finally:
        wire.close()
        server.close()


def test_a_disk_that_fails_is_told_as_something_that_may_pass(tmp_path: Path) -> None:
    reef = Reef()
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    phone, token, authority = phone_of(base)
    lines = b"".join(entry.line for entry in phone.entries.values())
    server = Server(base, lambda served: failing_writes(served, lambda: True))
    wire = Https(f"https://127.0.0.1:{server.port}", authority=authority, token=token)
    try:
        answer = wire.ask("POST", "entries", body=lines)
        assert answer.status == 503 and int(answer.headers["retry-after"]) > 0
        assert phone.entries.keys().isdisjoint(held(base))
    finally:
        wire.close()
        server.close()
