"""The lock files: exact versions with digests, good for every machine, and in step with pyproject.toml."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
RUN = (ROOT / "scripts" / "requirements.lock").read_text("utf-8")
TEST = (ROOT / "scripts" / "requirements-test.lock").read_text("utf-8")
BOTH = pytest.mark.parametrize("lock", [RUN, TEST], ids=["run", "test"])


def locked(lock: str) -> dict[str, str]:
    return dict(re.findall(r"^([a-z0-9._-]+)==(\S+)", lock, re.MULTILINE))


def declared(*extras: str) -> list[Requirement]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    lists = [project["project"]["optional-dependencies"][extra] for extra in extras]
    return [
        Requirement(line) for line in sum(lists, project["project"]["dependencies"] + project["dependency-groups"]["build"])
    ]


@BOTH
def test_every_locked_version_has_its_digests(lock: str) -> None:
    entries = re.split(r"^(?=[a-z0-9])", lock, flags=re.MULTILINE)[1:]
    assert len(entries) == len(locked(lock)) > 0
    assert [entry.split("\n")[0] for entry in entries if "--hash=sha256:" not in entry] == []


@BOTH
def test_a_lock_names_no_index_and_no_place_of_one_machine(lock: str) -> None:
    assert not re.findall(r"https?:|file:|://| @ |--index|--extra-index|--find-links|(?<![\w-])/\w+/", lock)


def test_what_runs_is_tested_in_the_same_versions() -> None:
    build_alone = {"hatchling"}
    assert locked(RUN).keys() - build_alone <= locked(TEST).keys()
    assert {name for name, version in locked(RUN).items() if locked(TEST).get(name, version) != version} == set()


@pytest.mark.parametrize(("lock", "extras"), [(RUN, ()), (TEST, ("test",))], ids=["run", "test"])
def test_a_lock_meets_what_the_project_declares(lock: str, extras: tuple[str, ...]) -> None:
    versions = locked(lock)
    unmet = [need for need in declared(*extras) if versions.get(canonicalize_name(need.name), "") not in need.specifier]
    assert [str(need) for need in unmet] == []
