"""The sample keeps the contract: sessions without gaps, rows as the protocol asks, nothing named that is not there."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from typing import Any

from fieldkit.ledger import Entry
from fieldkit.protocol import understand


def sessions_of(sample: Any) -> dict[str, list[Entry]]:
    logs: dict[str, list[Entry]] = defaultdict(list)
    for entries in sample.files.values():
        for entry in entries:
            logs[entry.session].append(entry)
    return logs


def test_a_session_counts_from_one_without_a_gap(sample: Any) -> None:
    for log in sessions_of(sample).values():
        assert [entry.seq for entry in log] == list(range(1, len(log) + 1))


def test_a_session_has_one_writing_device_and_opens_with_its_head(sample: Any) -> None:
    for log in sessions_of(sample).values():
        assert len({entry.device for entry in log}) == 1
        assert [entry.kind for entry in log].index("session") == 0


def test_a_close_says_how_many_entries_came_before_it_and_their_sum(sample: Any) -> None:
    for *log, close in sessions_of(sample).values():
        total = sum(int(entry.digest, 16) for entry in log) % 2**256
        said = (close.values["n"], close.values["sum"], close.values["photos"])
        assert said == (len(log), f"{total:064x}", str(sum(entry.kind == "photo" for entry in log)))


def test_time_goes_forward_within_a_session(sample: Any) -> None:
    for log in sessions_of(sample).values():
        assert all(one.at < other.at for one, other in pairwise(log))


def test_every_row_is_understood_by_the_protocol_of_its_session(sample: Any) -> None:
    of = {"session": "head", "observation": "coral", "planting": "coral"}
    protocol_of = {
        e.session: sample.protocols.get(e.values.get("protocol")) for e in sample.entries.values() if e.kind == "session"
    }
    for entry in sample.entries.values():
        protocol = protocol_of[entry.session]
        if entry.kind in of and protocol is not None:
            counted = ("genotype" in entry.values and entry.kind == "observation") or "count" in entry.values
            assert not understand(protocol, "count" if counted else of[entry.kind], entry.values).faults, entry.values


def test_every_crew_session_names_an_adopted_protocol(sample: Any) -> None:
    adopted = {entry.values["digest"] for entry in sample.of("protocol", sample.entries.values())}
    heads = sample.of("session", sample.entries.values())
    assert {head.values["protocol"] for head in heads if head.values["role"] == "crew"} <= adopted


def test_what_a_row_names_is_in_the_register(sample: Any) -> None:
    entries = sample.entries.values()
    known = {entry.values[kind] for kind in ("site", "plot", "genotype", "lot") for entry in sample.of(kind, entries)}
    known |= {entry.values["row"] for entry in sample.of("planting", entries)}
    for entry in entries:
        if entry.kind in ("session", "planting", "observation", "action"):
            named = {entry.values.get(name) for name in ("site", "plot", "genotype", "lot", "coral")} - {None}
            assert named <= known, entry.values


def test_every_row_has_an_id_of_its_own(sample: Any) -> None:
    rows: dict[str, list[Entry]] = defaultdict(list)
    for entry in sample.entries.values():
        if entry.kind in ("observation", "planting"):
            rows[entry.values["row"]].append(entry)
    # A row said twice is a row corrected: the later entry names the earlier.
    assert all(later.replaces == (earlier.digest,) for said in rows.values() for earlier, later in pairwise(said))


def test_every_photo_that_is_named_came_along_but_the_one_withheld(sample: Any) -> None:
    named = {entry.values["photo"] for entry in sample.of("photo", sample.entries.values())}
    assert named - sample.photos == set(sample.truth["photos_withheld"])


def test_register_work_is_done_in_lead_sessions_of_the_base(sample: Any) -> None:
    roles = {entry.session: entry.values["role"] for entry in sample.of("session", sample.entries.values())}
    register = ("site", "plot", "genotype", "person", "permit", "lot", "coral", "boat_day", "ruling", "protocol", "event")
    assert {roles[entry.session] for entry in sample.entries.values() if entry.kind in register} == {"lead"}
