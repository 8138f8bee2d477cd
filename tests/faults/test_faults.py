"""Whatever breaks while a phone hands in over TLS: nothing acknowledged is lost, and the rest comes with the next hand-in.

A short run of what `scripts/bench/faults.py` does a thousand times.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from tests.faults.harness import FAULTS, Tally, Trial, torn


@pytest.mark.parametrize("seed", range(2))
def test_no_fault_loses_what_was_acknowledged_and_two_bases_agree_afterwards(tmp_path: Path, seed: int) -> None:
    tally = Tally()
    trial = Trial(tmp_path, Random(seed))
    for fault in FAULTS[seed::2]:
        trial.round(tally, fault)
    trial.end(tally)
    assert (tally.lost, tally.differing, tally.runs) == (0, 0, len(FAULTS) // 2)


@pytest.mark.parametrize("seed", range(4))
def test_a_torn_carry_file_gives_what_proves_itself_and_the_whole_one_the_rest(tmp_path: Path, seed: int) -> None:
    tally = Tally()
    torn(tmp_path, Random(seed), tally)
    assert (tally.lost, tally.differing) == (0, 0)
