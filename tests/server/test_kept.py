"""Answers are computed once and kept until the data changes; of a large programme while the page already stands."""

from __future__ import annotations

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier, Event
from time import monotonic, sleep

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base, View
from fieldkit.protocol import Protocol, read_protocol
from fieldkit.server import create_app
from fieldkit.server.kept import Kept, Waiting
from tests.server.test_survival_page import words
from tests.server.test_survival_parts import two_sites
from tests.support.programme import PROTOCOL_FILE, Reef, base_of

PATIENCE_S = 60
"""After which something that never comes is a failure, not a slow machine."""


class Counted:
    """An answer that knows how often it was computed."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self, view: View) -> int:
        self.times += 1
        return view.ledger.newest_place


@pytest.fixture
def base(tmp_path: Path) -> Base:
    made = Reef()
    return base_of(tmp_path / "base", made.entries(), [made.protocol])


def until(condition: Callable[[], bool]) -> None:
    started = monotonic()
    while not condition():
        assert monotonic() - started < PATIENCE_S
        sleep(0.01)


def test_the_same_question_is_computed_once(base: Base) -> None:
    kept, answer = Kept(base), Counted()
    with base.view() as view:
        assert kept.now(view, "q", answer) == kept.now(view, "q", answer)
    assert answer.times == 1


def test_many_who_ask_at_once_wait_for_one_answer(base: Base) -> None:
    kept, answer, together = Kept(base), Counted(), Barrier(8)

    def ask() -> int:
        with base.view() as view:
            together.wait(PATIENCE_S)
            return kept.now(view, "q", answer)

    with ThreadPoolExecutor(8) as people:
        told = {one.result(PATIENCE_S) for one in [people.submit(ask) for _ in range(8)]}
    assert (len(told), answer.times) == (1, 1)


def test_what_is_entered_makes_the_next_answer_new(base: Base) -> None:
    kept, answer = Kept(base), Counted()
    with base.view() as view:
        before = kept.now(view, "q", answer)
    base.receive(Reef().lead("more").entries, source="test")
    with base.view() as view:
        assert kept.now(view, "q", answer) > before


def test_a_protocol_file_that_arrives_makes_the_next_answer_new(base: Base) -> None:
    kept, answer = Kept(base), Counted()
    with base.view() as view:
        kept.now(view, "q", answer)
    other = another_protocol()
    base.keep_protocol(other.body)
    with base.view() as view:
        kept.now(view, "q", answer)
        is_heard_of = other.digest in view.protocols_heard_of()
    assert answer.times == (2 if is_heard_of else 1) == 2


def another_protocol() -> Protocol:
    body = PROTOCOL_FILE.read_bytes() + b"\n# another\n"
    return read_protocol(body, name="another.toml")


def test_no_more_answers_are_held_than_there_is_room_for(base: Base) -> None:
    kept, answer = Kept(base, most=3), Counted()
    with base.view() as view:
        for question in (*range(4), 3, 0):
            kept.now(view, question, answer)
    assert answer.times == 5  # 0 had made room for 3


def test_what_could_not_be_computed_is_tried_again(base: Base) -> None:
    kept = Kept(base)

    def fails(view: View) -> int:
        raise ValueError(view.ledger.newest_place)

    with base.view() as view:
        with pytest.raises(ValueError, match=r"\d"):
            kept.now(view, "q", fails)
        assert kept.now(view, "q", Counted())


def test_a_long_answer_is_not_waited_for_and_says_since_when(base: Base) -> None:
    kept, go_on = Kept(base, at_once=0), Event()

    def takes_long(_: View) -> str:
        assert go_on.wait(PATIENCE_S)
        return "done"

    with base.view() as view:
        assert kept.at_once_or_soon(view, "q", takes_long) == Waiting(0)
        assert isinstance(kept.at_once_or_soon(view, "q", takes_long), Waiting)
        go_on.set()
        until(lambda: kept.at_once_or_soon(view, "q", takes_long) == "done")


def test_a_failure_in_the_background_is_told_to_whoever_asks(base: Base) -> None:
    kept = Kept(base, at_once=0)

    def fails(_: View) -> int:
        raise ValueError("no")

    def is_told(view: View) -> bool:
        try:
            return not isinstance(kept.at_once_or_soon(view, "q", fails), Waiting)
        except ValueError:
            return True

    with base.view() as view:
        until(lambda: is_told(view))


# The pages of a large programme.


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    """Every programme is large to this server."""
    base = two_sites().base(tmp_path_factory.mktemp("large"))
    app = create_app(base)
    app.extensions["fieldkit.kept"] = Kept(base, at_once=0)
    return app.test_client()


def test_the_first_answer_has_its_figure_and_says_that_the_limits_are_being_computed(large: FlaskClient) -> None:
    page = large.get("/survival?method=epoxy").text
    assert "Being computed for 0 seconds now" in words(page)
    assert re.search(r"[\d.]+% of the corals are estimated to be alive", words(page))


@pytest.mark.parametrize(
    "address",
    ["/survival", "/survival?as_of=2025-06-01"]
    + [f"/survival/{part}" for part in ("groups", "matrix", "ranking", "causes", "period", "effort", "corals")],
)
def test_what_was_being_computed_is_there_in_the_end(large: FlaskClient, address: str) -> None:
    until(lambda: "data-waiting" not in large.get(address).text)
    answer = large.get(address)
    assert answer.status_code == 200 and re.search(r"<t(able|body)", answer.text)
