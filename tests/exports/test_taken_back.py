"""What goes out as CSV comes in to an empty base, and gives the same curves there."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import pytest

from fieldkit.base import Base, import_sheets, mapping_of
from fieldkit.protocol import read_protocol
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer
from fieldkit.shipped import SAMPLE_SURVEYS
from tests.exports.conftest import TakenOut

QUESTION = Question(by=("site", "genotype"), limits="none", at=(91, 365, 730))
PROTOCOL = SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml"


@pytest.fixture(scope="module")
def again(taken_out: TakenOut, tmp_path_factory: pytest.TempPathFactory) -> Base:
    folder = tmp_path_factory.mktemp("again")
    with ZipFile(BytesIO(taken_out("csv"))) as packed:
        packed.extractall(folder)
    made = Base.create(folder / "base", "Again")
    made.adopt(read_protocol(PROTOCOL.read_bytes()))
    for table in ("corals", "visits", "counts"):
        mapping = mapping_of(made, (folder / f"{table}.toml").read_bytes(), name=f"{table}.toml")
        body = (folder / f"{table}.csv").read_bytes()
        (taken,) = import_sheets(made, body, file=f"{table}.csv", mapping=mapping, today=date(2999, 1, 1))
        assert not taken.refused, [one.fault.text() for one in taken.refused][:3]
    return made


def curves(base: Base) -> dict[tuple[str, ...], list[list[float]]]:
    """By site, genotype and treatment of missing, the ages and shares of the curve."""
    with base.view() as view:
        found = answer(view, QUESTION)
    return {
        (*group["group"].values(), treatment): [line[:2] for line in group[treatment]["curve"]]
        for group in found["groups"]
        for treatment in ("missing_lost", "missing_open")
    }


def test_the_curves_of_every_site_and_genotype_are_the_same(base: Base, again: Base) -> None:
    mine, others = curves(again), curves(base)
    assert mine.keys() == others.keys() and len(mine) > 80
    for group, lines in mine.items():
        assert np.array(lines) == pytest.approx(np.array(others[group]), abs=1e-8), group  # the search ends at a gap of 1e-9


def test_the_fates_are_the_same(base: Base, again: Base) -> None:
    def fates(of: Base) -> object:
        with of.view() as view:
            return answer(view, Question(limits="none"))["fates"]

    assert fates(again) == fates(base)


def test_the_files_beside_the_tables_say_how_they_come_in(taken_out: TakenOut, tmp_path: Path) -> None:
    with ZipFile(BytesIO(taken_out("csv"))) as packed:
        assert {"corals.toml", "visits.toml", "counts.toml"} <= set(packed.namelist())
