"""Every observation ever made has one fate, and the counts add up to the number of observations."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.settle.fold import FATES
from tests.base.story import Story
from tests.base.world import World, accounts
from tests.support.programme import base_of, monitoring, name


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    return Story(tmp_path_factory.mktemp("story"))


@pytest.fixture(scope="module")
def told(story: Story) -> Base:
    return story.world.fresh(story.entries, protocols=[monitoring()])


def fate(base: Base, digest: str) -> str:
    with base.view() as view:
        return next(row.fate for row in view.observations([digest]))


def test_the_counts_add_up_to_the_observations(told: Base) -> None:
    with told.view() as view:
        fates, observations = accounts(view)
        assert fates == observations == sum(entry.kind == "observation" for entry in view.ledger.all())


def test_no_fate_is_outside_the_list(told: Base) -> None:
    with told.view() as view:
        assert view.fates().keys() <= set(FATES)


def test_the_observations_listed_have_the_fates_counted(told: Base) -> None:
    with told.view() as view:
        assert Counter(row.fate for row in view.observations()) == view.fates()


@pytest.mark.parametrize(
    ("called", "expected"),
    [
        ("alive", "counted"),
        ("dead", "overruled"),
        ("misread", "set aside"),
        ("unreached", "not searched"),
        ("mistyped", "superseded"),
        ("correction", "counted"),
        ("taken_back", "retracted"),
        ("imported", "retracted"),
    ],
)
def test_the_fate_follows_from_what_was_said_and_ruled(story: Story, told: Base, called: str, expected: str) -> None:
    assert fate(told, getattr(story, called).digest) == expected


def test_an_observation_whose_protocol_never_came_is_not_understood(story: Story, tmp_path: Path) -> None:
    assert fate(base_of(tmp_path / "base", story.entries), story.alive.digest) == "not understood"


def test_an_observation_of_a_later_version_is_counted_as_not_understood(tmp_path: Path) -> None:
    world = World(tmp_path)
    later = world.from_the_future(world.dive("2024-06-01", world.reef.site), "observation", {"plot": world.reef.plot("A")})
    assert fate(world.fresh(world.said), later.digest) == "not understood"


def test_an_observation_that_names_a_plot_in_words_has_a_fate(tmp_path: Path) -> None:
    world = World(tmp_path)
    book = world.dive("2024-06-01", world.reef.site)
    noted = book.say("observation", {"row": name("row"), "plot": "the ring by the mooring", "tag": "101", "status": "alive"})
    assert fate(world.fresh(world.said, protocols=[monitoring()]), noted.digest) == "in a matter"
