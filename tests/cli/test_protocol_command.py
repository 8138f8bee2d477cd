"""`fieldkit protocol` and the protocols of `fieldkit init`: what changes is said first, a faulty file changes nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fieldkit.base import Base
from tests.cli.terminal import SAMPLES, state_of, typed

SHIPPED = (SAMPLES / "protocols" / "post_outplant_monitoring.toml").read_text("utf-8")
COLOUR = """
[[field]]
name = "colour"
of = "coral"
kind = "text"
label = { en = "Colour", es = "Color" }
"""

Protocol = Callable[..., Path]


def versioned(text: str, version: int) -> str:
    head, rest = text.split("version =", 1)
    return f"{head}version = {version}\n{rest.split(chr(10), 1)[1]}"


@pytest.fixture
def protocol(tmp_path: Path) -> Protocol:
    """The shipped protocol in a later version, with more in it."""

    def made(more: str = COLOUR, version: int = 90) -> Path:
        (tmp_path / "ours.toml").write_text(versioned(SHIPPED, version) + more, "utf-8")
        return tmp_path / "ours.toml"

    return made


def test_a_new_version_says_what_it_changes_before_it_is_adopted(reef: Path, protocol: Protocol) -> None:
    told = typed(reef, "protocol", protocol())
    assert told.code == 0 and "“colour”" in told.lines[0]
    assert told.lines[-1] == "Adopted post-outplant-monitoring, version 90."


def test_a_dry_run_says_the_same_and_adopts_nothing(reef: Path, protocol: Protocol) -> None:
    before = state_of(reef)
    told = typed(reef, "protocol", protocol(), "--dry-run")
    assert (told.code, "“colour”" in told.lines[0], state_of(reef)) == (0, True, before)


def test_a_version_adopted_twice_changes_nothing(reef: Path, protocol: Protocol) -> None:
    typed(reef, "protocol", protocol())
    before = state_of(reef)
    told = typed(reef, "protocol", protocol())
    assert (told.code, "is in use already" in told.out, state_of(reef)) == (0, True, before)


@pytest.mark.parametrize("version", [1, 90])
def test_a_version_that_is_not_higher_is_not_adopted(reef: Path, protocol: Protocol, version: int) -> None:
    typed(reef, "protocol", protocol("", 90))
    before = state_of(reef)
    told = typed(reef, "protocol", protocol(COLOUR, version))
    assert told.code == 1 and "Give the new file a higher number" in told.out
    assert state_of(reef) == before


def test_a_condition_on_a_field_that_does_not_exist_is_told_with_its_line(reef: Path, protocol: Protocol) -> None:
    file = protocol(COLOUR + 'only_where = { satus = ["alive"] }\n')
    line = file.read_text("utf-8").splitlines().index('only_where = { satus = ["alive"] }') + 1
    before = state_of(reef)
    told = typed(reef, "protocol", file)
    assert told.code == 1 and f"ours.toml, line {line}" in told.err and "satus" in told.err and "status" in told.err
    assert state_of(reef) == before


def test_every_fault_of_a_protocol_is_told_not_the_first_alone(reef: Path, protocol: Protocol) -> None:
    told = typed(reef, "protocol", protocol(COLOUR.replace('"text"', '"txt"') + 'onyl_where = { status = ["alive"] }\n'))
    assert "“txt”" in told.err and "onyl_where" in told.err


def test_a_faulty_protocol_leaves_no_base_behind(tmp_path: Path, protocol: Protocol) -> None:
    told = typed(tmp_path / "new", "init", "--programme", "Ours", "--protocol", protocol("nonsense"))
    assert (told.code, "ours.toml" in told.err, (tmp_path / "new").exists()) == (1, True, False)


def test_a_new_base_has_the_protocols_that_are_shipped(tmp_path: Path) -> None:
    typed(tmp_path / "new", "init", "--programme", "Ours")
    with Base(tmp_path / "new").view() as view:
        names = {said["name"] for said in view.things("protocol").values()}
    assert names == {"post-outplant-monitoring", "outplanting", "nursery-round"}


def test_a_protocol_that_is_named_is_the_only_one(tmp_path: Path) -> None:
    typed(tmp_path / "new", "init", "--programme", "Ours", "--protocol", "outplanting")
    with Base(tmp_path / "new").view() as view:
        assert [said["name"] for said in view.things("protocol").values()] == ["outplanting"]


def test_a_protocol_that_does_not_exist_is_told_with_those_that_do(tmp_path: Path) -> None:
    told = typed(tmp_path / "new", "init", "--programme", "Ours", "--protocol", "outplantings")
    assert told.code == 2 and "“outplantings”" in told.err and "outplanting," in told.err
    assert not (tmp_path / "new").exists()
