"""The sample's sheets are taken in as the README says."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.protocol import Protocol, read_protocol
from fieldkit.register.sheets import Mapping, Taken, read_mapping, read_sheet, take

SAMPLE = Path(__file__).parents[2] / "sample_surveys"
SHEETS = SAMPLE / "sheets"
TODAY = date(2026, 11, 25)


class NothingKnown:
    """A base that holds nothing yet."""

    def site(self, _name: str, /) -> str | None:
        return None

    def plot(self, _site: str, _name: str, /) -> str | None:
        return None

    def genotype(self, _accession: str, /) -> str | None:
        return None

    def coral(self, _plot: str, /, *, tag: str | None, position: str | None) -> str | None:
        return None

    def tags(self, _plot: str, /) -> tuple[str, ...]:
        return ()

    def planting(self, _plot: str, _genotype: str, _day: str, /) -> str | None:
        return None


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    return read_protocol((SAMPLE / "protocols" / "post_outplant_monitoring.toml").read_bytes())


@pytest.fixture(scope="module")
def long(protocol: Protocol) -> Taken:
    return take(read_sheet(SHEETS / "history_ray_steps.csv"), Mapping(), NothingKnown(), protocol, today=TODAY)


@pytest.fixture(scope="module")
def crews_own(protocol: Protocol) -> Taken:
    body = (SHEETS / "outplants_old_moorings.toml").read_bytes()
    mapping = read_mapping(body, fields=[field.name for field in protocol.fields])
    return take(read_sheet(SHEETS / "outplants_old_moorings.xlsx"), mapping, NothingKnown(), protocol, today=TODAY)


def test_the_long_table_is_taken_whole_without_a_mapping(long: Taken) -> None:
    assert (long.refused, long.asks) == ((), ())


def test_the_long_table_holds_every_tagged_coral_of_its_site(long: Taken, sample: Any) -> None:
    assert long.corals == sum(coral["site"] == "RAY" for coral in sample.truth["corals"])


def test_of_the_crews_own_sheet_one_row_is_refused_and_asked_about(crews_own: Taken) -> None:
    assert [(one.column, one.value) for one in crews_own.refused] == [("State", "??")]
    assert [(one.column, one.value) for one in crews_own.asks] == [("State", "??")]
