"""No clock decides anything: whatever devices thought the time was, the same is accepted, asked and settled."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.base import Base
from fieldkit.ledger import Entry, mint
from tests.base.story import Story
from tests.base.world import settled
from tests.support.programme import base_of, monitoring

YEAR = 365 * 24 * 3600 * 1000


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    return Story(tmp_path_factory.mktemp("story"))


def told_again(entries: Iterable[Entry], at: Callable[[], int]) -> list[Entry]:
    """The same, as devices with other clocks would have minted it: everything has another digest."""
    again: dict[str, Entry] = {}
    for entry in entries:
        values = dict(entry.values)
        if isinstance(values.get("of"), list):
            values["of"] = sorted(again[name].digest if name in again else name for name in values["of"])
        again[entry.digest] = mint(
            entry.kind,
            device=entry.device,
            session=entry.session,
            seq=entry.seq,
            at=at(),
            values=values,
            replaces=[again[name].digest for name in entry.replaces],
        )
    return list(again.values())


def accepted(base: Base) -> dict[str, Any]:
    """The state but for digests, and for which of several equal observations stands for all of them."""
    rows = settled(base)
    with base.view() as view:
        seen = [(row["coral"], row["visit"], row["state"], row["day"], row["said"]["values"]) for row in view.seen()]
        matters = Counter(
            (one.kind, one.why.key, one.corals, one.visit, tuple(sorted(one.fields)), one.is_open)
            for one in view.matters(settled=True)
        )
        return {**{name: rows[name] for name in ("coral", "counted", "counted_visit", "thing")}, "seen": seen} | {
            "fates": view.fates(),
            "matters": matters,
        }


@settings(max_examples=8)
@given(clocks=st.randoms(use_true_random=False))
def test_clocks_that_are_years_apart_change_nothing_that_is_accepted(story: Story, clocks: Any) -> None:
    with TemporaryDirectory() as folder:
        told = [story.entries, told_again(story.entries, lambda: clocks.randint(-3 * YEAR, 80 * YEAR))]
        bases = [base_of(Path(folder) / str(i), entries, [monitoring()]) for i, entries in enumerate(told)]
        assert accepted(bases[0]) == accepted(bases[1])
