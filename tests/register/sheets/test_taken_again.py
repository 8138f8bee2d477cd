"""The same sheet taken twice, on two bases, or where the base knew something already."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.ledger import Entry, mint, new_id
from fieldkit.register.sheets import Taken

LONG = """site,plot,tag,position,genotype,planted_on,seen_on,status
Outer,P1,A1,1,K7,2025-01-10,2025-04-10,alive
Outer,P1,,2,K8,2025-01-10,2025-04-10,dead
Inner,P1,A1,,,2025-01-10,2025-04-11,missing
"""
COUNTS = """site,plot,genotype,planted_on,planted,seen_on,alive
Outer,R1,K7,2025-01-10,10,2025-04-10,8
"""


def registered(kind: str, **values: str) -> Entry:
    return mint(kind, device=new_id(1), session=new_id(2), seq=2, at=0, values=values)


def ids(taken: Taken, kind: str) -> list[str]:
    return [entry.values[kind] for entry in taken.entries if entry.kind == kind]


@pytest.mark.parametrize("sheet", [LONG, COUNTS])
def test_a_second_base_makes_the_same_bytes(take_csv: Any, sheet: str) -> None:
    assert [entry.body for entry in take_csv(sheet).entries] == [entry.body for entry in take_csv(sheet).entries]


@pytest.mark.parametrize("sheet", [LONG, COUNTS])
def test_a_second_run_on_the_same_base_makes_the_same_bytes(take_csv: Any, remembered: Any, sheet: str) -> None:
    first = take_csv(sheet)
    again = take_csv(sheet, names=remembered(first.entries))
    assert [entry.body for entry in again.entries] == [entry.body for entry in first.entries]


def test_another_mapping_is_another_import(take_csv: Any) -> None:
    one, other = take_csv(LONG), take_csv(LONG, 'date_order = "dmy"')
    assert one.digest != other.digest and not {*one.entries} & {*other.entries}


def test_every_session_carries_the_digest_of_its_import(take_csv: Any) -> None:
    taken = take_csv(LONG)
    said = {entry.values["import"] for entry in taken.entries if entry.kind == "session"}
    assert said == {taken.digest}


def test_all_is_written_by_one_device_as_lead_and_at_no_time(take_csv: Any) -> None:
    entries = take_csv(LONG).entries
    roles = {entry.values["role"] for entry in entries if entry.kind == "session"}
    assert (len({entry.device for entry in entries}), roles, {entry.at for entry in entries}) == (1, {"lead"}, {0})


def test_a_site_that_the_base_knows_is_not_entered_again(take_csv: Any, remembered: Any) -> None:
    known = registered("site", site=new_id(3), name="OUTER")
    taken = take_csv(LONG, names=remembered([known]))
    assert [entry.values["name"] for entry in taken.entries if entry.kind == "site"] == ["Inner"]
    assert known.values["site"] in {entry.values["site"] for entry in taken.entries if entry.kind == "plot"}


def test_a_coral_that_the_base_knows_is_observed_under_its_id(take_csv: Any, remembered: Any) -> None:
    site, plot, coral = new_id(3), new_id(4), new_id(5)
    known = [
        registered("site", site=site, name="Outer"),
        registered("plot", plot=plot, site=site, name="P1"),
        registered("tag", coral=coral, tag="a1"),
        registered("coral", coral=coral, plot=plot),
    ]
    taken = take_csv(LONG, names=remembered(known))
    assert coral in [entry.values["coral"] for entry in taken.entries if entry.kind == "observation"]
    assert coral not in ids(taken, "coral")


def test_what_the_sheet_says_of_a_known_coral_is_told_and_not_taken(take_csv: Any, remembered: Any) -> None:
    site, plot, coral = new_id(3), new_id(4), new_id(5)
    known = [
        registered("site", site=site, name="Outer"),
        registered("plot", plot=plot, site=site, name="P1"),
        registered("tag", coral=coral, tag="A1"),
        registered("coral", coral=coral, plot=plot),
    ]
    told = {left.fault.key: left.rows for left in take_csv(LONG, names=remembered(known)).left}
    assert told["sheets.left_corals_known"] == (2,)


def test_bases_that_know_a_coral_by_other_ids_never_write_under_one_session(take_csv: Any, remembered: Any) -> None:
    """Two entries at one place of a session would be a matter: "this session was continued twice"."""
    here = take_csv(LONG, names=remembered([registered("site", site=new_id(3), name="Outer")]))
    there = take_csv(LONG)
    places = {(entry.session, entry.seq): entry for entry in here.entries}
    assert all(places.get((entry.session, entry.seq), entry) == entry for entry in there.entries)


def test_a_planting_that_the_base_knows_is_not_counted_twice(take_csv: Any, remembered: Any) -> None:
    site, plot, genotype = new_id(3), new_id(4), new_id(5)
    known = [
        registered("site", site=site, name="Outer"),
        registered("plot", plot=plot, site=site, name="R1"),
        registered("genotype", genotype=genotype, accession="K7"),
        registered("planting", row=new_id(6), plot=plot, genotype=genotype, count="10"),
    ]
    taken = take_csv(COUNTS, names=remembered(known))
    assert [entry.kind for entry in taken.entries] == ["session", "observation", "close"]
