"""In whatever order, how often and in what portions entries come in: the state is the same, byte for byte."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.base import Base
from fieldkit.ledger import Entry
from tests.base.story import Story
from tests.base.world import World, digest
from tests.support.programme import base_of, monitoring


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    return Story(tmp_path_factory.mktemp("story"))


@pytest.fixture(scope="module")
def told(story: Story) -> str:
    """The state after hearing all of it at once."""
    return digest(story.world.fresh(story.entries, protocols=[monitoring()]))


@pytest.fixture
def base(tmp_path: Path) -> Base:
    return base_of(tmp_path / "base", protocols=[monitoring()])


def portions(entries: list[Entry], dice: Random) -> Iterator[list[Entry]]:
    while entries:
        size = dice.randint(1, len(entries))
        yield entries[:size]
        entries = entries[size:]


@settings(max_examples=12)
@given(dice=st.randoms(use_true_random=False))
def test_order_of_hand_in_does_not_change_the_state(story: Story, told: str, dice: Random) -> None:
    shuffled = dice.sample(story.entries, len(story.entries))
    with TemporaryDirectory() as folder:
        base = base_of(Path(folder) / "base", protocols=[monitoring()])
        for portion in portions(shuffled, dice):
            base.receive(portion, source="test")
        assert digest(base) == told


def test_what_is_handed_in_again_changes_nothing(story: Story, told: str, base: Base) -> None:
    for _ in range(2):
        base.receive([entry for entry in story.entries for _ in range(2)], source="test")
    assert digest(base) == told


def test_entries_that_come_one_by_one_give_the_same_state(story: Story, told: str, base: Base) -> None:
    for entry in story.entries:
        base.receive([entry], source="test")
    assert digest(base) == told


def test_the_opening_of_a_session_may_come_last(story: Story, told: str, base: Base) -> None:
    openings = [entry for entry in story.entries if entry.seq == 1]
    base.receive([entry for entry in story.entries if entry.seq != 1], source="test")
    base.receive(openings, source="test")
    assert digest(base) == told


def test_a_correction_may_come_before_what_it_corrects(story: Story, told: str, base: Base) -> None:
    for entry in reversed(story.entries):
        base.receive([entry], source="test")
    assert digest(base) == told


def test_a_protocol_may_come_after_what_was_noted_under_it(story: Story, told: str, tmp_path: Path) -> None:
    base = base_of(tmp_path / "late", story.entries)
    before = digest(base)
    base.keep_protocol(monitoring().body)
    assert (digest(base) == told, before == told) == (True, False)


def test_without_the_protocol_the_state_is_still_one(story: Story, tmp_path: Path) -> None:
    one, other = base_of(tmp_path / "one", story.entries), base_of(tmp_path / "other")
    for entry in reversed(story.entries):
        other.receive([entry], source="test")
    assert digest(one) == digest(other)


def test_two_bases_that_heard_half_each_agree_once_they_merged_each_other(tmp_path: Path) -> None:
    world = Story(tmp_path).world
    for i, base in enumerate(world.bases):
        base.keep_protocol(world.protocol.body)
        base.receive(world.said[i::2], source="test")
    world.carry(*world.bases)
    world.carry(*reversed(world.bases))
    assert {digest(base) for base in world.bases} == {digest(world.fresh(world.said, protocols=[world.protocol]))}


def test_more_entries_than_the_ledger_holds_are_looked_up_from_nothing(
    story: Story, told: str, base: Base, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fieldkit.base.keeping.MANY", 1)
    base.receive(story.entries[:5], source="test")
    base.receive(story.entries, source="test")
    assert digest(base) == told


def test_the_order_of_hashes_in_a_process_does_not_change_the_state(story: Story, told: str, tmp_path: Path) -> None:
    story.world.fresh(story.entries, protocols=[monitoring()]).carry(tmp_path / "all.zip")
    joining = (
        "import sys; from pathlib import Path; from fieldkit.base import Base\n"
        "base, _ = Base.join(Path(sys.argv[1]), Path(sys.argv[2]))\n"
        "with base.view() as view: print(view.digest())\n"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", joining, str(tmp_path / seed), str(tmp_path / "all.zip")],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(__file__).parents[2])},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for seed in ("0", "1", "4711")
    }
    assert found == {told}


def test_a_plot_that_moved_to_another_site_is_asked_about_whichever_came_first(tmp_path: Path) -> None:
    world = World(tmp_path)
    world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "101"}, "alive")
    plot = next(entry for entry in world.of_kinds("plot") if entry.values["name"] == "A")
    world.open_book(role="lead").say("plot", {**plot.values, "site": world.other_site}, [plot.digest])
    for base, entries in zip(world.bases, (world.said, world.said[::-1]), strict=True):
        for entry in entries:
            base.receive([entry], source="test")
    with world.bases[0].view() as view:
        assert [matter.why.key for matter in view.matters() if matter.kind == "site"] == ["settle.plots_of_other_site"]
    assert len({digest(base) for base in world.bases}) == 1


def test_an_import_is_taken_back_though_what_opened_its_session_was_corrected(tmp_path: Path) -> None:
    world = World(tmp_path)
    book = world.dive("2024-06-01", world.reef.site, **{"import": "e" * 64})
    world.see(book, "A", {"tag": "101"}, "dead")
    book.say("session", {"role": "crew", "site": world.reef.site, "day": "2024-06-02"}, [book.entries[0].digest])
    world.open_book(role="lead").say("retract", {"import": "e" * 64})
    base = world.bases[0]
    for entry in world.said:
        base.receive([entry], source="test")
    with base.view() as view:
        assert view.fates() == {"retracted": 1} and base.check() == []
