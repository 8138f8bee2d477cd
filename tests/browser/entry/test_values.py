"""What the page decides from values alone, each module asked by itself in the browser: the same answers as the base's."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from fieldkit.base import Base
from fieldkit.protocol import number, read_protocol
from fieldkit.protocol.number import written
from fieldkit.reports.slates import snapshot
from fieldkit.shipped import SAMPLE_SURVEYS
from tests.browser.entry.conftest import Shore

CASES = Path(__file__).parents[2] / "cases" / "protocol"
CONDITIONS = json.loads((CASES / "conditions.json").read_text("utf-8"))
MONITORING = SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml"

Asked = Callable[..., Any]


@pytest.fixture(scope="module")
def asked(browser: Browser, shore: Shore) -> Iterator[Asked]:
    """Asks a function of a module of the page for what it gives."""
    window = browser.new_context(locale="en-GB")
    page = window.new_page()
    page.goto(f"{shore.address}/enter/")

    def ask(module: str, name: str, *given: Any) -> Any:
        call = "async ([module, name, given]) => (await import(`/enter/apart/${module}.js`))[name](...given)"
        return page.evaluate(call, [module, name, list(given)])

    yield ask
    window.close()


@pytest.fixture(scope="module")
def protocol(shore: Shore) -> dict[str, Any]:
    """The protocol as the register has it."""
    base = Base(shore.folder)
    with base.view() as view:
        told = snapshot(view, [read_protocol(MONITORING.read_bytes())])
    found: dict[str, Any] = told["protocols"][0]
    return found


def test_conditions_give_what_the_base_gives(asked: Asked) -> None:
    found = {
        one["name"]: asked("row/conditions", "applies", {"only_where": one["only_where"]}, one["values"]) for one in CONDITIONS
    }
    assert found == {one["name"]: one["applies"] for one in CONDITIONS}


@pytest.mark.parametrize(
    "text", ["12", "12.5", "12,50", " +007 ", "-0", "-3", ".5", "5.", "1e3", "1 000", "", "x", "٣", "1" * 16]
)
def test_numbers_are_read_as_the_base_reads_them(asked: Asked, text: str) -> None:
    assert asked("row/number", "written", text) == written(text)
    assert (asked("row/number", "number", text) is None) == (number(text) is None)


@pytest.mark.parametrize(
    ("text", "step", "way", "gives"),
    [
        ("12", "0.5", 1, "12.5"),
        ("12.3", "0.5", 1, "12.5"),
        ("0.3", "0.1", 1, "0.4"),
        ("0.1", "0.1", -1, "0.1"),
        ("7", "5", -1, "5"),
    ],
)
def test_a_step_goes_to_the_next_multiple_and_stays_within_the_limits(
    asked: Asked, text: str, step: str, way: int, gives: str
) -> None:
    assert asked("row/number", "stepped", text, {"step": step, "min": "0.1", "max": "100", "first": "1"}, way) == gives


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        ("A S 95 P 15", {"status": "alive", "attachment": "solid", "live_tissue": "95", "bleaching": "pale", "size_cm": "15"}),
        ("a 15cm", {"status": "alive", "size_cm": "15"}),
        ("bl:P", {"status": "alive", "bleaching": "pale"}),
        ("D X", {"status": "dead", "tag_state": "absent"}),
        ("M B ?", {"status": "missing", "trace": "base_only", "cause": "unknown"}),
        ("/", {"searched": "no"}),
        ('A "two pieces', {"status": "alive", "note": "two pieces"}),
    ],
)
def test_codes_are_read_from_left_to_right_as_the_fields_stand(
    asked: Asked, protocol: dict[str, Any], codes: str, said: dict[str, str]
) -> None:
    assert asked("row/codes", "typed", codes, protocol, "coral", {})["values"] == said


def test_a_dot_after_findings_says_that_nothing_else_is_wrong(asked: Asked, protocol: dict[str, Any]) -> None:
    said = asked("row/codes", "typed", "bl:P .", protocol, "coral", {})["values"]
    assert said == {
        **protocol["all_well"],
        "disease": ["none"],
        "predation": ["none"],
        "competition": ["none"],
        "bleaching": "pale",
    }


def test_a_code_that_no_field_knows_is_named(asked: Asked, protocol: dict[str, Any]) -> None:
    assert asked("row/codes", "typed", "A QQ", protocol, "coral", {})["unknown"] == ["QQ"]


def test_a_typed_share_beyond_its_limits_is_no_share(asked: Asked, protocol: dict[str, Any]) -> None:
    assert asked("row/codes", "typed", "A 120%", protocol, "coral", {})["unknown"] == ["120%"]


def test_counts_are_typed_in_the_order_alive_dead_missing(asked: Asked, protocol: dict[str, Any]) -> None:
    assert asked("row/codes", "typedCounts", "8 1 1", protocol, {})["values"] == {"alive": "8", "dead": "1", "missing": "1"}


@pytest.mark.parametrize(
    ("battery", "link", "waits"),
    [
        ({"level": 0.2, "charging": False}, None, "battery"),
        ({"level": 0.2, "charging": True}, None, None),
        ({"level": 0.9, "charging": False}, {"effectiveType": "2g"}, "link"),
        (None, {"saveData": True}, "link"),
        (None, None, None),
    ],
)
def test_photos_wait_on_a_low_battery_and_a_slow_link(asked: Asked, battery: Any, link: Any, waits: str | None) -> None:
    assert asked("waits", "photosWaitFor", battery, link) == waits


@pytest.mark.parametrize(("language", "words"), [("en", "12 Nov 2026"), ("es", "12 nov 2026")])
def test_days_are_written_as_people_write_them(asked: Asked, language: str, words: str) -> None:
    assert asked("days", "dayInWords", "2026-11-12", language) == words


def test_rows_of_a_plot_stand_in_the_registers_order_and_unlisted_ones_after_them(asked: Asked) -> None:
    plot = {"plot": "p", "corals": [{"coral": "a", "tag": "S2"}, {"coral": "b", "tag": "S1"}]}
    rows = [
        {"row": "1", "kind": "observation", "order": 9, "values": {"plot": "p", "tag": "S9"}},
        {"row": "2", "kind": "observation", "order": 2, "values": {"plot": "p", "coral": "b"}},
    ]
    lines = asked("slate_order", "linesOf", [plot], rows)
    assert [(line["number"], line["tag"], bool(line["stored"])) for line in lines] == [
        (1, "S2", False),
        (2, "S1", True),
        (3, "S9", True),
    ]
