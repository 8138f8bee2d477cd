"""Third-party files that travel with the project: as published, all of them listed, each with its licence."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
import vendor

PACKAGES = [(folder, package) for folder in vendor.FOLDERS for package in json.loads((folder / vendor.LIST).read_text("utf-8"))]
EACH = pytest.mark.parametrize(("folder", "package"), PACKAGES, ids=[package["name"] for _, package in PACKAGES])


@EACH
def test_vendored_files_are_as_published(folder: Path, package: dict[str, Any]) -> None:
    held = {file: hashlib.sha256((folder / file).read_bytes()).hexdigest() for file in package["files"]}
    assert held == package["files"]


@EACH
def test_vendored_files_come_with_their_licence(folder: Path, package: dict[str, Any]) -> None:
    assert package["licence"] and f"{package['name']}/LICENSE" in package["files"]


@pytest.mark.parametrize("folder", vendor.FOLDERS, ids=lambda folder: str(folder.relative_to(vendor.ROOT)))
def test_nothing_lies_among_vendored_files_that_is_not_listed(folder: Path) -> None:
    listed = {file for place, package in PACKAGES if place == folder for file in package["files"]}
    found = {file.relative_to(folder).as_posix() for file in folder.rglob("*") if file.is_file()}
    assert found - {vendor.LIST} == listed
