"""The folder that a command works on: named by --data or FIELDKIT_DATA, made by `init`, refused where it is none."""

from __future__ import annotations

from pathlib import Path

import pytest
from filelock import FileLock

from fieldkit.base import Base
from tests.cli.terminal import SAMPLES, typed


@pytest.mark.parametrize("command", ["matters", "survival", "observations", "check", "serve"])
def test_a_folder_without_a_base_is_named_with_the_remedy(tmp_path: Path, command: str) -> None:
    told = typed(tmp_path, command)
    assert told.code == 2 and f"{tmp_path} holds no base" in told.err and "--data" in told.err


def test_a_damaged_database_is_told_in_words(reef: Path) -> None:
    (reef / "fieldkit.db").write_bytes(b"not a database at all" * 100)
    told = typed(reef, "matters")
    assert (told.code, "database" in told.err, "Traceback" in told.err) == (1, True, False)


def test_a_base_that_another_process_holds_is_told_in_words(reef: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldkit.base.base.BUSY_SECONDS", 0.1)
    with FileLock(reef / "write.lock"):
        told = typed(reef, "check")
    assert (told.code, f"Another fieldkit has been writing to {reef}" in told.err) == (1, True)


def test_init_leaves_a_folder_with_other_things_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    told = typed(tmp_path, "init", "--programme", "Ours")
    assert (told.code, [path.name for path in tmp_path.iterdir()]) == (2, ["letters.txt"])


@pytest.mark.parametrize("given", [[], ["--programme", " "], ["--programme", "Ours", "--from", "programme.zip"]])
def test_init_needs_a_name_or_a_carry_file_and_not_both(tmp_path: Path, given: list[str]) -> None:
    given = [str(SAMPLES / word) if word.endswith(".zip") else word for word in given]
    told = typed(tmp_path / "new", "init", *given)
    assert (told.code, "--programme" in told.err, (tmp_path / "new").exists()) == (2, True, False)


def test_a_base_is_not_made_from_what_is_no_carry_file(tmp_path: Path) -> None:
    (tmp_path / "letter.zip").write_bytes(b"a letter")
    told = typed(tmp_path / "new", "init", "--from", tmp_path / "letter.zip")
    assert (told.code, "letter.zip is no carry file" in told.err, (tmp_path / "new").exists()) == (1, True, False)


def test_a_base_made_from_a_torn_carry_file_says_what_it_lacks(reef: Path, tmp_path: Path) -> None:
    Base(reef).carry(tmp_path / "whole.zip")
    whole = (tmp_path / "whole.zip").read_bytes()
    (tmp_path / "torn.zip").write_bytes(whole[: len(whole) - 2000])
    told = typed(tmp_path / "new", "init", "--from", tmp_path / "torn.zip")
    assert told.code == 1 and "Made a base of “Amo Reef Nursery”" in told.out and "torn.zip breaks off" in told.out


def test_a_folder_that_may_not_be_made_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    told = typed(tmp_path / "file" / "new", "init", "--programme", "Ours")
    assert (told.code, str(tmp_path / "file") in told.err, "Traceback" in told.err) == (1, True, False)
