"""What the page decides from values alone, each module asked by itself in the browser: the same answers as the base's."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from fieldkit.base import Base
from fieldkit.protocol import number, read_protocol
from fieldkit.protocol.number import written
from fieldkit.reports.slates import snapshot
from fieldkit.server import entry
from fieldkit.server.joined import Joining
from fieldkit.shipped import SAMPLE_SURVEYS, STATIC
from tests.browser.entry.conftest import Shore

CASES = Path(__file__).parents[2] / "cases"
CONDITIONS, SERIES, PRACTICE = (
    json.loads((CASES / name).read_text("utf-8"))
    for name in ("protocol/conditions.json", "register/series.json", "register/practice.json")
)
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


def test_no_name_of_the_joined_page_hides_one_of_the_browsers(browser: Browser) -> None:
    """In one scope a module that means the browser's `history` would get another module's."""
    joining = Joining(STATIC / "entry", {name: STATIC / "vendor" / path for name, path in entry.LIBRARIES.items()})
    joining.add("main.js")
    window = browser.new_context()
    hidden = window.new_page().evaluate("names => names.filter(name => name in window)", list(joining.names))
    window.close()
    assert hidden == []


def test_conditions_give_what_the_base_gives(asked: Asked) -> None:
    found = {
        one["name"]: asked("row/conditions", "applies", {"only_where": one["only_where"]}, one["values"]) for one in CONDITIONS
    }
    assert found == {one["name"]: one["applies"] for one in CONDITIONS}


def test_a_series_of_tags_is_read_as_the_base_reads_it(asked: Asked) -> None:
    genotypes = [{"genotype": "seven", "accession": "G07"}, {"genotype": "twelve", "accession": "G12"}]
    for case in SERIES:
        found = asked("row/series", "readSeries", case["text"], genotypes, case.get("otherwise"))
        faults = [[one["key"].removeprefix("programme."), one["data"]] for one in found["faults"]]
        for _, data in faults:
            data.pop("known", None)
        tagged = [[one["tag"], one["genotype"]] for one in found["tagged"]]
        assert (faults, tagged if not faults else []) == (case["faults"], case["tagged"]), case["name"]


def test_a_planting_is_advised_as_the_base_advises(asked: Asked) -> None:
    for case in PRACTICE:
        tagged = [{"tag": f"B{i}", "genotype": "g"} for i in range(1, case["n"] + 1)]
        plan = {"values": {}, "standing": 0, "worn": {}, **case, "tagged": tagged}
        found = [[one["key"].removeprefix("programme.advice_"), one["data"]] for one in asked("row/practice", "advice", plan)]
        assert found == case["advice"], case["name"]


def spread(text: str) -> int:
    """FNV-1a of 32 bits (RFC 9923), then the finalizer of MurmurHash3, written once more from memory of their descriptions."""
    value = 0x811C9DC5
    for byte in text.encode():
        value = ((value ^ byte) * 0x01000193) % 2**32
    for shift, factor in ((16, 0x85EBCA6B), (13, 0xC2B2AE35), (16, 1)):
        value = ((value ^ (value >> shift)) * factor) % 2**32
    return value


@pytest.mark.parametrize(
    ("n", "percent", "many"), [(0, "10", 0), (1, "10", 1), (9, "10", 1), (100, "12.5", 13), (40, "100", 40)]
)
def test_every_device_draws_the_same_corals_whatever_order_it_has_them_in(
    asked: Asked, n: int, percent: str, many: int
) -> None:
    corals = [f"0191af9a-2300-7000-8000-{i:012d}" for i in range(n)]
    ranked = sorted(corals, key=lambda coral: spread(f"ring 2026-11-12 {coral}"))
    assert asked("repeats", "drawn", "ring", "2026-11-12", corals[::-1], percent) == ranked[:many]


def test_on_another_day_other_corals_are_drawn_and_none_is_spared(asked: Asked) -> None:
    corals = [f"0191af9a-2300-7000-8000-{i:012d}" for i in range(100)]
    days = [f"2026-{month:02d}-{day:02d}" for month in range(1, 11) for day in range(1, 29)]
    times = Counter(coral for day in days for coral in asked("repeats", "drawn", "ring", day, corals, "10"))
    # 280 days, a tenth: 28 times each, and a binomial's deviation of 5.0; five of them are generous.
    assert len(times) == 100 and all(3 < n < 53 for n in times.values())


def test_a_second_look_holds_what_is_drawn_and_no_more(asked: Asked) -> None:
    lines = [{"plot": "p", "key": f"c{i}", "coral": f"c{i}", "expected": True, "stored": None} for i in range(20)]
    drawn = set(asked("repeats", "drawn", "p", "2026-11-12", [line["coral"] for line in lines], "10"))
    alone = asked("repeats", "secondLook", lines, "2026-11-12", "10", None)
    assert {line["key"] for line in alone if line["again"]} == {line["key"] for line in alone} == drawn


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
