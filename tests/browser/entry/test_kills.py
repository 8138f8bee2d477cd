"""The browser is killed, the page loaded anew, its tab closed, in the middle of a slate: what was shown is there after.
(scripts/bench/entry_kills.py does this two hundred times.)"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from PIL import Image
from playwright.sync_api import Playwright

from tests.browser.device.windows import missing
from tests.browser.entry.conftest import PHONE, Shore
from tests.browser.entry.kills import Blow, Crew, Run, Step, Told, closed, killed, reloaded, script, undisturbed

SEED = 4
ROWS = 4

Entered = tuple[list[Step], list[Told]]


@pytest.fixture(scope="module")
def crew(playwright: Playwright, shore: Shore, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Crew]:
    if lacking := missing("chromium"):
        pytest.skip(f"no {lacking} here")
    paired = Crew(playwright, tmp_path_factory.mktemp("crew") / "profile", shore, **PHONE)
    yield paired
    paired.close()


@pytest.fixture(scope="module")
def entered(crew: Crew, tmp_path_factory: pytest.TempPathFactory) -> Entered:
    picture = tmp_path_factory.mktemp("picture") / "coral.jpg"
    Image.effect_noise((800, 600), 60).convert("RGB").save(picture)
    steps = script(random.Random(SEED), picture, ROWS)
    return steps, undisturbed(crew, steps)


@pytest.mark.parametrize("blow", [killed, reloaded, closed])
def test_what_was_shown_is_there_afterwards(crew: Crew, entered: Entered, blow: Blow) -> None:
    outcome = blow(crew, Run(*entered), random.Random(SEED))
    assert outcome.changes > 0
    assert (outcome.lost, outcome.is_strange) == (0, False)
