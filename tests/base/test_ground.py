"""Where a base may lie: not on another computer's drive, and not unsaid in a folder that another program copies about."""

from __future__ import annotations

from pathlib import Path

import pytest

import fieldkit.base.base
from fieldkit.base import Base, BaseError
from fieldkit.base.ground import is_over_the_network, kind_of_disk, synced_by

# The form is that of proc(5); the lines are made up.
MOUNTS = r"""/dev/sda1 / ext4 rw,relatime 0 0
tmpfs /tmp tmpfs rw 0 0
nas:/reef /media/reef\040share nfs4 rw 0 0
//office/x /media/office cifs rw 0 0
/dev/sdb1 /media/reef\040share/stick exfat rw 0 0
"""


@pytest.mark.parametrize(
    ("folder", "kind"),
    [
        ("/home/lead/base", "ext4"),
        ("/media/reef share/base", "nfs4"),
        ("/media/reef shares", "ext4"),
        ("/media/reef share/stick/base", "exfat"),
        ("/media/office", "cifs"),
    ],
)
def test_the_disk_of_a_folder_is_the_one_mounted_nearest_to_it(folder: str, kind: str) -> None:
    assert kind_of_disk(Path(folder), MOUNTS) == kind


def test_the_disk_of_this_computer_is_no_network(tmp_path: Path) -> None:
    assert not is_over_the_network(tmp_path)


def test_a_base_on_a_network_drive_is_neither_made_nor_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = Base.create(tmp_path / "base", "Amo").folder
    monkeypatch.setattr(fieldkit.base.base, "is_over_the_network", lambda _: True)
    for work in (lambda: Base(folder), lambda: Base.create(tmp_path / "other", "Amo")):
        with pytest.raises(BaseError, match="another computer"):
            work()
    assert not (tmp_path / "other").exists()


def test_a_base_in_a_folder_that_is_kept_equal_elsewhere_is_told_of_by_check(tmp_path: Path) -> None:
    base = Base.create(tmp_path / "Nextcloud" / "base", "Amo")
    assert [fault.key for fault in base.check()] == ["base.synced"] and synced_by(tmp_path) is None
