"""The state follows what was handed in, and gets in nobody's way."""

from __future__ import annotations

import sys
import time
from io import BytesIO
from pathlib import Path

from PIL import Image

from fieldkit.ledger import sha256
from fieldkit.server.tended import may_follow, tended
from tests.support.programme import Reef, base_of

NEVER = float("inf")


def test_the_state_waits_until_nobody_hands_in() -> None:
    assert not may_follow(100.0, 99.0, 98.0) and may_follow(100.0, 97.0, 96.0)


def test_phones_that_hand_in_without_a_pause_do_not_hold_up_the_state_for_ever() -> None:
    assert not may_follow(100.0, 99.9, 45.0) and may_follow(100.0, 99.9, 40.0)


def test_what_nobody_handed_in_here_is_followed_at_once() -> None:
    """Commands beside the server write too."""
    assert may_follow(100.0, -NEVER, 100.0)


def test_the_state_follows_a_hand_in_without_being_asked_for(tmp_path: Path) -> None:
    reef = Reef()
    base = base_of(tmp_path / "base", protocols=[reef.protocol])
    with tended(base, settled=lambda: None):
        base.keep(reef.entries(), source="a phone")
        until = time.monotonic() + 60
        while not base.is_settled() and time.monotonic() < until:
            time.sleep(0.05)
        assert base.is_settled()


def test_pictures_are_looked_at_once_nobody_hands_in(tmp_path: Path) -> None:
    base = base_of(tmp_path / "base")
    written = BytesIO()
    Image.new("RGB", (40, 30), "navy").save(written, "PNG")
    digest = sha256(written.getvalue())
    base.photos.put(BytesIO(written.getvalue()), digest)
    with tended(base, settled=lambda: None):
        until = time.monotonic() + 60
        while digest not in base.looks.alike([digest]) and time.monotonic() < until:
            time.sleep(0.05)
    assert base.looks.alike([digest]) == {digest: []}


def test_who_tended_a_base_leaves_the_interpreter_as_it_was(tmp_path: Path) -> None:
    before = sys.getswitchinterval()
    with tended(base_of(tmp_path / "base"), settled=lambda: None):
        assert sys.getswitchinterval() < before
    assert sys.getswitchinterval() == before
