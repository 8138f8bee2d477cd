"""The base's pages in a browser: nothing is complained of, everyone can use them, by keyboard, on a phone, on paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import until

VENDOR = Path(__file__).parent / "vendor"
PARTS = ("groups", "matrix", "ranking", "causes", "period", "effort", "corals")
PAGES = (
    "days",
    "matters",
    "survival",
    *(f"survival/{part}" for part in PARTS),
    "programme",
    "programme/plot",
    "plantings/new",
    "export",
)
PHONE = {"viewport": {"width": 320, "height": 640}}

Open = Callable[..., Page]


def violations(page: Page, *rules: str) -> list[str]:
    """What axe-core finds against some of its rules, or any: which, and where."""
    page.evaluate((VENDOR / "axe-core" / "axe.min.js").read_text("utf-8"))  # the policy refuses a script tag, and rightly
    options = {"resultTypes": ["violations"], **({"runOnly": rules} if rules else {})}
    found = page.evaluate("async options => (await axe.run(document, options)).violations", options)
    return [f"{one['id']}: {node['html'][:120]}" for one in found for node in one["nodes"]]


def unfold(page: Page) -> None:
    """Open the folds of a page; of its days before only a few, which are all made alike."""
    page.evaluate(
        "document.querySelectorAll('details:not(.day), details.day:nth-of-type(-n + 3)').forEach(it => it.open = true)"
    )
    arrived(page)


def arrived(page: Page) -> None:
    """Wait until the folds that are open hold what they were opened for."""
    pending = page.locator("details.part[open] a.own-page, div.part[aria-busy], [data-waiting]")
    expect(pending).to_have_count(0, timeout=60_000)  # of a busy machine; a page that never arrives fails all the same


def tab_to(page: Page, condition: str, *, key: str = "Tab") -> None:
    """Press a key until the element in focus meets a condition on `it`."""
    for _ in range(100):
        page.keyboard.press(key)
        if page.evaluate(f"(it => {condition})(document.activeElement)"):
            return
    pytest.fail(f"the keyboard never reaches: {condition}")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_breaks_no_rule_of_accessibility_light_or_dark(opened: Open, address: str, name: str) -> None:
    page = opened(f"{address}/{name}", color_scheme="light")
    unfold(page)
    light = violations(page)
    page.emulate_media(color_scheme="dark")
    assert (light, violations(page, "color-contrast")) == ([], [])


def test_an_error_page_breaks_no_rule_of_accessibility(opened: Open, address: str) -> None:
    assert violations(opened(f"{address}/survival?estimate=guess&age=old", expected="status of 400")) == []


@pytest.mark.parametrize(("name", "title"), [("days", "Salidas"), ("matters", "Asuntos"), ("survival", "Supervivencia")])
def test_a_browser_that_asks_for_spanish_is_answered_in_it(opened: Open, address: str, name: str, title: str) -> None:
    page = opened(f"{address}/{name}", locale="es-FJ")
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(page.locator("h1")).to_have_text(title)


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_wider_than_a_phone(opened: Open, address: str, name: str) -> None:
    page = opened(f"{address}/{name}", **PHONE)
    unfold(page)
    assert page.evaluate("[document.documentElement.scrollWidth, innerWidth]") == [320, 320]


@pytest.mark.parametrize("name", PAGES)
def test_whatever_is_pressed_is_large_enough_to_hit(opened: Open, address: str, name: str) -> None:
    """WCAG 2.2, 2.5.8: 24 px each way; links within a sentence are exempt."""
    page = opened(f"{address}/{name}", **PHONE)
    unfold(page)
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, select, input, summary, nav a')]
            .filter(it => it.checkVisibility() && it.type !== 'hidden')
            .filter(it => { const box = it.getBoundingClientRect(); return box.width < 24 || box.height < 24; })
            .map(it => it.outerHTML.slice(0, 100))"""
    )
    assert small == []


def test_the_pages_work_without_script(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/matters", java_script_enabled=False)
    before = page.locator("article").first.get_attribute("id")
    page.locator("article input[name=who]").first.fill("EA")
    page.locator("article .presses button").first.click()
    expect(page.locator(".done")).to_be_visible()
    assert page.locator("article").first.get_attribute("id") != before


def test_a_matter_is_settled_and_undone_by_keyboard_alone(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/matters")
    doubtful = page.locator("article", has_text="tag in doubt")
    here, following = (f"it.closest('article')?.id === '{card.get_attribute('id')}'" for card in doubtful.all()[:2])
    before = doubtful.count()
    tab_to(page, f"it.name === 'who' && {here}")
    page.keyboard.type("EA")
    page.keyboard.press("Enter")
    assert "done" not in page.url  # Enter in a text field settles nothing
    tab_to(page, f"it.className === 'suggested' && {here}", key="Shift+Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/matters?done=*")
    assert doubtful.count() == before - 1
    page.keyboard.press("Tab")
    assert page.evaluate(f"(it => {following})(document.activeElement)")  # the next one is where the keyboard goes on
    tab_to(page, "it.closest('.done')", key="Shift+Tab")
    page.keyboard.press("Enter")
    expect(page.locator(".done")).to_have_count(0)
    assert doubtful.count() == before


def test_what_has_the_focus_is_never_hidden_by_what_sticks(own_address: str, opened: Open) -> None:
    """WCAG 2.2, 2.4.11: the strip that offers to undo covers nothing that the keyboard reaches."""
    page = opened(f"{own_address}/matters")
    page.locator("article input[name=who]").first.fill("EA")
    page.locator("article .presses button").first.click()
    page.wait_for_url("**/matters?done=*")
    for _ in range(25):
        page.keyboard.press("Tab")
        covered = page.evaluate(
            """() => { const it = document.activeElement.getBoundingClientRect();
                const strip = document.querySelector('.done').getBoundingClientRect();
                return !document.activeElement.closest('.done') && it.bottom > strip.top && it.bottom <= strip.bottom; }"""
        )
        assert not covered


def test_a_photo_is_shown_beside_what_was_noted(opened: Open, address: str) -> None:
    page = opened(f"{address}/matters")
    photo = page.locator("img.photo").first
    photo.scroll_into_view_if_needed()
    until(page, "it => it.complete && it.naturalWidth > 0", photo.element_handle())


def test_a_table_sorts_by_a_press_on_its_heading(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival")
    arrived(page)
    heading = page.locator("table.sortable th", has_text=re.compile("^Corals$"))
    heading.get_by_role("button").press("Enter")
    shown = [int(cell.inner_text()) for cell in page.locator("table.sortable tbody td:nth-child(5)").all()]
    assert (shown, heading.get_attribute("aria-sort")) == (sorted(shown, reverse=True), "descending")


def test_what_is_chosen_stands_in_the_address(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival")
    arrived(page)
    page.locator("details.filters summary").press("Enter")
    page.locator("details.filters").get_by_label("Site").select_option("Ray Steps")
    page.locator("details.filters").get_by_role("button", name="Show", exact=True).press("Enter")
    page.wait_for_url("**/survival?site=Ray+Steps&*")
    expect(page.locator(".chosen")).to_have_text("Ray Steps")


def test_a_fold_is_filled_when_the_keyboard_opens_it(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival")
    tab_to(page, "it.matches('summary') && it.parentElement.querySelector('#part-ranking')")
    page.keyboard.press("Enter")
    expect(page.locator("#part-ranking table.ranked tbody tr")).to_have_count(12)


def test_what_a_fold_is_asked_is_answered_in_its_place(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival")
    arrived(page)
    fold = page.locator("#part-groups")
    fold.get_by_label("Told by").select_option("genotype")
    fold.get_by_role("button", name="Show", exact=True).press("Enter")
    expect(fold.locator("tbody tr")).to_have_count(12)
    assert page.url == f"{address}/survival"


def test_without_script_a_fold_is_a_page_away(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival?site=Ray+Steps", java_script_enabled=False)
    page.locator("summary", has_text="Which lose fewer").click()
    page.locator("#part-ranking a").click()
    page.wait_for_url("**/survival/ranking?site=Ray+Steps")
    expect(page.locator("table.ranked tbody tr")).to_have_count(12)
    page.get_by_label("Told by").select_option("species")
    page.get_by_role("button", name="Show", exact=True).click()
    page.wait_for_url("**/survival/ranking?site=Ray+Steps&by=species")
    expect(page.locator("table.ranked tbody tr")).to_have_count(3)


def test_a_fate_leads_to_its_corals_and_back(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival")
    page.get_by_role("link", name="missing", exact=True).click()
    expect(page.locator("#part-corals")).to_contain_text("missing · 63 corals")
    page.locator(".back a").click()
    expect(page.locator(".headline")).to_be_visible()


def test_the_language_is_one_press_away_and_stays(opened: Open, address: str) -> None:
    page = opened(f"{address}/days")
    page.get_by_role("link", name="Español").press("Enter")
    expect(page.locator("h1")).to_have_text("Salidas")
    page.get_by_role("link", name="Asuntos", exact=True).press("Enter")
    expect(page.locator("h1")).to_have_text("Asuntos")


def test_paper_carries_the_figures_and_nothing_to_press(opened: Open, address: str) -> None:
    page = opened(f"{address}/survival")
    unfold(page)
    page.emulate_media(media="print")
    assert page.locator("button:not(.sort):visible, nav:visible, select:visible").count() == 0
    for told in (
        ".headline",
        "table.fates",
        ".panel",
        "table.matrix",
        "table.ranked",
        "#part-period table",
        "#part-effort table",
    ):
        expect(page.locator(told).first).to_be_visible()
