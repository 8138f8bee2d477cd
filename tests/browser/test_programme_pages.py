"""The register in a browser: a planting day from one line to its corals, by keyboard, without script, on a phone."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.test_pages import PHONE, Open, tab_to, violations

PLOT, DAY = "RAY-11", "2026-11-09"


def fill_in(page: Page) -> None:
    page.get_by_label("Plot").select_option(label=PLOT)
    page.get_by_label("Planted on").fill(DAY)
    page.get_by_label("Tags, with their genotype").fill("Z101-Z102, S215, AMUR-03")
    page.get_by_label("Attached with").select_option(label="Cement")
    page.get_by_label("Points of attachment").fill("2")
    page.get_by_role("button", name="Look at it first").click()


def test_a_planting_day_is_looked_at_written_and_taken_back_without_script(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/plantings/new", java_script_enabled=False)
    fill_in(page)
    expect(page.locator("#preview .headline")).to_have_text(f"3 corals, planted in {PLOT} on 9 Nov 2026")
    expect(page.locator(".advice")).to_contain_text("Tag S215 is worn on that day by another coral")
    page.locator("#preview").get_by_label("Your initials").fill("EA")
    page.locator("#preview").get_by_role("button", name="Write it down").click()
    expect(page.locator("tbody tr")).to_have_count(3)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".headline")).to_have_text("This planting was taken back.")


def test_what_would_be_written_breaks_no_rule_of_accessibility_and_fits_a_phone(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/plantings/new", color_scheme="light", **PHONE)
    fill_in(page)
    expect(page.locator("#preview")).to_be_visible()
    light = violations(page)
    page.emulate_media(color_scheme="dark")
    assert (light, violations(page, "color-contrast")) == ([], [])
    assert page.evaluate("[document.documentElement.scrollWidth, innerWidth]") == [320, 320]


def test_a_site_is_mended_by_keyboard_alone_and_its_pages_break_no_rule(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/programme/site", **PHONE)
    tab_to(page, "it.textContent === 'Old Moorings'")
    page.keyboard.press("Enter")
    page.wait_for_url("**/programme/site/*-*")
    tab_to(page, "it.textContent === 'Change'")
    page.keyboard.press("Enter")
    page.wait_for_url("**/change")
    tab_to(page, "it.id === 'depth_m'")
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("3,5")
    form = violations(page)
    tab_to(page, "it.name === 'who'")
    page.keyboard.type("EA")
    page.keyboard.press("Enter")
    expect(page.locator(".timeline li").first).to_contain_text("Depth: 3 m → 3.5 m")
    assert (form, violations(page)) == ([], [])
    assert page.evaluate("[document.documentElement.scrollWidth, innerWidth]") == [320, 320]


def test_a_fault_is_told_at_its_field(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/programme/permit/new", expected="status of 400")
    page.get_by_label("Number").fill("P-9")
    page.get_by_label("Limits").fill("Acropora")
    page.get_by_label("Your initials").fill("EA")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_label("Limits")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#fault-limits")).to_contain_text("“Acropora” is no limit")
    assert violations(page) == []
