"""What is due, in a browser: ticked and written down by keyboard, on a phone, and no rule of accessibility broken."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.test_pages import PHONE, Open, violations


def test_what_was_done_is_ticked_written_down_and_undone_without_script(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/due?day=2026-11-30", java_script_enabled=False)
    boxes = page.locator("input[name=given]")
    many = boxes.count()
    boxes.first.check()
    page.locator("form", has=page.locator("input[name=given]")).get_by_label("Your initials").fill("EA")
    page.get_by_role("button", name="Write down what was done").click()
    expect(boxes).to_have_count(many - 1)
    page.get_by_role("button", name="Undo").click()
    expect(boxes).to_have_count(many)


def test_the_due_list_and_the_plan_break_no_rule_of_accessibility_and_fit_a_phone(own_address: str, opened: Open) -> None:
    page = opened(f"{own_address}/due?day=2026-12-01", color_scheme="light", **PHONE)
    found = {}
    for address in ("/due?day=2026-12-01", "/due/plan?day=2026-12-01&dives=3&minutes=45"):
        page.goto(own_address + address)
        light = violations(page)
        page.emulate_media(color_scheme="dark")
        found[address] = (light, violations(page, "color-contrast"))
        page.emulate_media(color_scheme="light")
        assert page.evaluate("[document.documentElement.scrollWidth, innerWidth]") == [320, 320], address
    assert found == dict.fromkeys(found, ([], []))
