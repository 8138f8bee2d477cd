"""A base to type commands at: a small reef of five corals."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.support.programme import Reef, base_of

os.environ["FIELDKIT_LANG"] = "en"  # the commands choose their language once, when the first test loads them


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
