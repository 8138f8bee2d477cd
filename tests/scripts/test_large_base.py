"""The large base of the benches, copied site by site, is the one that receiving all of it makes."""

from __future__ import annotations

from pathlib import Path

from bench import large_base

from fieldkit.base import Base


def test_a_copied_base_is_a_received_one_byte_for_byte(tmp_path: Path) -> None:
    corals = large_base.SITES * large_base.PLOT_CORALS
    copied = large_base.make(tmp_path / "copied", corals, say=lambda _: None)
    received = Base.create(tmp_path / "received", "Bench")
    received.keep_protocol(large_base.PROTOCOL)
    entries = large_base.register()
    for site in range(large_base.SITES):
        last = site == large_base.SITES - 1
        entries += [*large_base.founding(site, 1), *large_base.rounds(site, 1, twice_from=0 if last else None)]
    received.receive(entries, source="bench")
    with copied.view() as one, received.view() as other:
        assert one.rows("SELECT count(*) AS n FROM coral") == [{"n": corals}]
        assert one.digest() == other.digest()
        assert {entry.digest for entry in one.ledger.all()} == {entry.digest for entry in entries}
