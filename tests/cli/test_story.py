"""A programme's evening from beginning to end, through the installed command: what comes in, what is settled, what goes on."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.cli.terminal import SAMPLES, Told, installed, typed

# The answers that a lead gives, and of which matter: its kind, and what else it must be.
ANSWERS: Mapping[str, str] = {
    "use": "double",
    "place": "tag",
    "same_slate": "same_slate",
    "both_stand": "double",
    "set_aside": "history",
    "day": "date",
    "site": "site",
    "stands": "size",
}


class Evening:
    """A base and what was said at it, in the order in which it was typed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "base"
        self.said: dict[str, Told] = {}
        self.matters: dict[str, dict[str, Any]] = {}
        self._begin()
        self._rule()
        self._take_back()
        self._carry(folder)
        self._say_again()

    def type(self, called: str, *arguments: str | Path, data: Path | None = None) -> Told:
        self.said[called] = installed(*arguments, data=data or self.folder)
        return self.said[called]

    def type_again(self, called: str, *arguments: str) -> Told:
        """A command that was run as a process of its own before; loading it each time would take longer than the evening."""
        self.said[called] = typed(self.folder, *arguments)
        return self.said[called]

    def _begin(self) -> None:
        self.type("init", "init", "--from", SAMPLES / "programme.zip")
        self.type("merge", "merge", SAMPLES / "boat_day", "--json")
        self.type("check before", "check", "--json")
        self.type("matters", "matters", "--json")
        self._look("before")

    def _look(self, when: str) -> None:
        """Everything that anyone is shown of the corals: what is asked, what became of each observation, the figures."""
        self.type_again(f"matters {when}", "matters", "--all", "--json")
        self.type_again(f"observations {when}", "observations", "--json")
        self.type_again(f"survival {when}", "survival", "--by", "plot", "--limits", "none", "--json")

    def _rule(self) -> None:
        for answer, kind in ANSWERS.items():
            matter = next(one for one in self.said["matters"].json if one["kind"] == kind and _takes(answer, one))
            self.matters[answer] = matter
            run = self.type if answer == "use" else self.type_again
            run(answer, "rule", matter["id"][:10], answer, *_keys(answer, matter), "--by", "QQ")
        self._look("ruled")
        self.type("moved", "observations", "--where", f"digest={self.matters['place']['of'][0]}", "--json")

    def _take_back(self) -> None:
        for answer in ANSWERS:
            run = self.type if answer == "use" else self.type_again
            run(f"{answer} taken back", "rule", self.matters[answer]["id"], "--retract")
        self._look("taken back")
        self.type_again("check taken back", "check", "--json")

    def _carry(self, folder: Path) -> None:
        self.type("carry", "carry", folder / "all.zip")
        self.type("second base", "init", "--from", folder / "all.zip", data=folder / "second")
        self.said["check second"] = typed(folder / "second", "check", "--json")

    def _say_again(self) -> None:
        self.type_again("merge again", "merge", str(SAMPLES / "boat_day"), "--json")
        self.type("survival", "survival", "--by", "site", "--limits", "none", "--json")
        self.type_again("survival csv", "survival", "--by", "site", "--limits", "none", "--csv")


def _takes(answer: str, matter: Mapping[str, Any]) -> bool:
    """Whether this answer can settle it, with what `_keys` gives along."""
    if answer not in matter["answers"]:
        return False
    if answer == "both_stand":
        return "status" not in matter["fields"]
    return answer != "place" or (len(matter["of"]) == 1 and matter["suggestion"] is not None)


def _keys(answer: str, matter: Mapping[str, Any]) -> Iterable[str]:
    if answer == "use":
        return [text for name, said in matter["fields"].items() for text in ("--value", f"{name}={next(iter(said.values()))}")]
    if answer == "place":
        return ["--coral", matter["suggestion"]["coral"]]
    if answer == "same_slate":
        return ["--keep", matter["of"][0]]
    return {"day": ["--day", "2026-11-10"], "site": ["--site", "pandanus slope"]}.get(answer, [])


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    return Evening(tmp_path_factory.mktemp("evening"))


def test_everything_that_was_typed_was_done(evening: Evening) -> None:
    assert {called: told.err for called, told in evening.said.items() if told.code != 0} == {}


def test_a_base_begins_with_the_programme_of_its_carry_file(evening: Evening) -> None:
    assert evening.said["init"].lines[0] == f"Made a base of “Nuvelako Reef Gardeners” in {evening.folder}."


def test_each_device_of_the_boat_day_brings_its_sessions(evening: Evening) -> None:
    told = evening.said["merge"].json
    assert [Path(one["file"]).name for one in told] == ["device_a.zip", "device_b.zip", "device_c.zip"]
    assert all(one["new"] == sum(counts["new"] for counts in one["sessions"].values()) > 0 for one in told)


def test_check_proves_the_base_and_every_observation_has_one_fate(evening: Evening) -> None:
    told = evening.said["check before"].json
    assert told["faults"] == []
    assert sum(told["observations"].values()) == told["entries"]["observation"]


@pytest.mark.parametrize("answer", ANSWERS)
def test_an_answer_settles_its_matter(evening: Evening, answer: str) -> None:
    (settled,) = [one for one in evening.said["matters ruled"].json if one["id"] == evening.matters[answer]["id"]]
    assert (settled["state"], settled["ruling"] is not None) == ("settled", True)


def test_a_placed_observation_is_of_the_coral_that_was_named(evening: Evening) -> None:
    (seen,) = evening.said["moved"].json
    assert seen["fate"] in ("counted", "agrees with a counted one")


@pytest.mark.parametrize("shown", ["matters", "observations", "survival"])
def test_rulings_change_what_is_shown(evening: Evening, shown: str) -> None:
    assert evening.said[f"{shown} ruled"].out != evening.said[f"{shown} before"].out


@pytest.mark.parametrize("shown", ["matters", "observations", "survival"])
def test_taking_every_ruling_back_brings_back_what_was_shown(evening: Evening, shown: str) -> None:
    assert evening.said[f"{shown} taken back"].out == evening.said[f"{shown} before"].out


def test_taking_back_adds_to_the_ledger_and_removes_nothing(evening: Evening) -> None:
    before, after = (evening.said[called].json["entries"] for called in ("check before", "check taken back"))
    assert after["ruling"] == before["ruling"] + len(ANSWERS)
    assert after["retract"] == before["retract"] + len(ANSWERS)


def test_a_second_base_made_from_the_carry_file_agrees(evening: Evening) -> None:
    first, second = (evening.said[called].json for called in ("check taken back", "check second"))
    assert {**first, "entries": None} == {**second, "entries": None}
    assert first["entries"] == second["entries"]


def test_merging_the_devices_again_brings_nothing_new(evening: Evening) -> None:
    assert [(one["new"], one["content"]) for one in evening.said["merge again"].json] == [(0, 0)] * 3


def test_figures_by_site_come_as_json_and_as_csv(evening: Evening) -> None:
    sites = {group["group"]["site"] for group in evening.said["survival"].json["groups"]}
    rows = csv.DictReader(io.StringIO(evening.said["survival csv"].out))
    assert {row["site"] for row in rows} == sites == {"Lantern Bommie", "Old Moorings", "Pandanus Slope", "Ray Steps"}
