"""The invented programme as scripts/start.py builds it: whole or not at all, and the same at every start."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import demo
import environment
import pytest


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample programme as the first start leaves it."""
    folder = tmp_path_factory.mktemp("start") / "demo"
    demo.build(folder)
    demo.take_in(folder)
    return folder


def state_of(folder: Path) -> str:
    call = [str(environment.command("fieldkit")), "--data", str(folder), "check", "--json"]
    told = subprocess.run(call, capture_output=True, encoding="utf-8", check=True, env=environment.variables()).stdout
    return str(json.loads(told)["state"])


@pytest.fixture
def damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sample of which nothing can be made: the carry file of the programme is cut off near its beginning."""
    whole = (demo.SAMPLES / "programme.zip").read_bytes()
    (tmp_path / "programme.zip").write_bytes(whole[:60])
    monkeypatch.setattr(demo, "SAMPLES", tmp_path)


def test_a_start_says_what_needs_settling_and_what_survives(built: Path, capfd: pytest.CaptureFixture[str]) -> None:
    demo.show(built)
    _, matters, by_site, by_genotype = capfd.readouterr().out.split("\n$ ")
    assert "double" in matters and "Pandanus Slope" in by_site and "%" in by_genotype


def test_a_second_start_changes_nothing(built: Path) -> None:
    before = state_of(built)
    demo.take_in(built)
    assert state_of(built) == before


def test_a_programme_that_cannot_be_built_leaves_no_folder(
    damaged: None, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(environment.SetupError, match="init"):
        demo.build(tmp_path / "demo")
    assert "programme.zip is damaged at its very beginning" in capfd.readouterr().err  # that, and nothing else, was in the way
    assert not (tmp_path / "demo").exists()


def test_what_a_broken_start_left_does_not_stand_in_the_way(built: Path, tmp_path: Path) -> None:
    shutil.copytree(built, tmp_path / "demo.half-built" / "base")
    (tmp_path / "demo.half-built" / "base" / "fieldkit.db").write_bytes(b"cut off")
    demo.build(tmp_path / "demo")
    assert [path.name for path in tmp_path.iterdir()] == ["demo"] and demo.is_base(tmp_path / "demo")


def test_an_empty_folder_may_be_given(tmp_path: Path) -> None:
    demo.build(tmp_path)
    assert demo.is_base(tmp_path)


def test_a_folder_with_other_things_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    with pytest.raises(environment.SetupError, match="--folder"):
        demo.build(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]
