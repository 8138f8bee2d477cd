"""Bases to type commands at: the sample programme on its last evening, and a small reef of five corals."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fieldkit.base import Base
from tests.support.programme import Reef, base_of

SAMPLES = Path(__file__).parents[2] / "sample_surveys"

os.environ["FIELDKIT_LANG"] = "en"  # the commands choose their language once, when the first test loads them


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample programme with the boat day of three devices merged. To be read only."""
    base, _ = Base.join(tmp_path_factory.mktemp("sample") / "base", SAMPLES / "programme.zip")
    for carry in sorted((SAMPLES / "boat_day").glob("*.zip")):
        base.merge(carry)
    return base.folder


@pytest.fixture
def reef(tmp_path: Path) -> Path:
    """Site Amo with plots A and B and five corals, two of them seen on one dive; the monitoring protocol is adopted."""
    made = Reef()
    dive = made.dive("KT", "2024-09-01")
    made.see(dive, "101")
    made.see(dive, "102", "dead")
    base = base_of(tmp_path / "reef", made.entries())
    base.adopt(made.protocol)
    return base.folder
