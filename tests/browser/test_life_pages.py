"""Corals, one life and agreement in a browser: nothing is complained of, everyone can use them, by keyboard, on a phone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from fieldkit.base import Base
from fieldkit.reports.corals import Wanted, find
from tests.browser.conftest import until
from tests.browser.test_pages import tab_to, unfold, violations

SMALL_PHONE = {"viewport": {"width": 320, "height": 640}}
LIFE = "S132"  # of the sample: photographed on each of six visits
NAMES = ("corals", "life", "agreement")

Open = Callable[..., Page]


@pytest.fixture(scope="session")
def paths(sample: Path) -> dict[str, str]:
    with Base(sample).view() as view:
        (coral,) = find(view, Wanted(tag=LIFE)).corals
    return {"corals": "/corals", "life": f"/corals/{coral.id}", "agreement": "/agreement?field=bleaching"}


@pytest.mark.parametrize("name", NAMES)
def test_a_page_breaks_no_rule_of_accessibility_light_or_dark(
    opened: Open, address: str, paths: dict[str, str], name: str
) -> None:
    page = opened(address + paths[name], color_scheme="light")
    unfold(page)
    light = violations(page)
    page.emulate_media(color_scheme="dark")
    assert (light, violations(page, "color-contrast")) == ([], [])


@pytest.mark.parametrize("locale", ["en-GB", "es-FJ"])
@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_wider_than_a_small_phone(opened: Open, address: str, paths: dict[str, str], name: str, locale: str) -> None:
    """WCAG 2.2, 1.4.10: 320 px, which is a page of 1280 px enlarged four times."""
    page = opened(address + paths[name], locale=locale, **SMALL_PHONE)
    unfold(page)
    assert page.evaluate("[document.documentElement.scrollWidth, innerWidth]") == [320, 320]


def test_a_coral_is_found_and_its_life_opened_by_keyboard_without_script(opened: Open, address: str) -> None:
    page = opened(f"{address}/corals", java_script_enabled=False)
    page.get_by_label("Tag, or its beginning").focus()
    page.keyboard.type(LIFE)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/corals?tag={LIFE}&*")
    page.get_by_role("link", name=LIFE, exact=True).press("Enter")
    expect(page.locator("h1 .tag")).to_have_text(LIFE)


def test_photos_through_time_are_small_copies_and_all_arrive(opened: Open, address: str, paths: dict[str, str]) -> None:
    page = opened(address + paths["life"])
    photos = page.locator(".pictures img")
    expect(photos).to_have_count(6)
    for photo in photos.all():
        photo.scroll_into_view_if_needed()
        until(page, "it => it.complete && it.naturalWidth > 0 && it.naturalWidth <= 320", photo.element_handle())


def test_a_photo_opens_large_by_keyboard(opened: Open, address: str, paths: dict[str, str]) -> None:
    # A browser frames a picture that it shows alone by a style of its own, which the picture's policy refuses.
    page = opened(address + paths["life"], expected="Applying inline style")
    tab_to(page, "it.querySelector('img')")
    page.keyboard.press("Enter")
    page.wait_for_url("**/1280")


def test_an_open_matter_of_a_coral_leads_to_its_card(opened: Open, address: str) -> None:
    page = opened(f"{address}/corals?tag=B193")
    page.get_by_role("link", name="B193", exact=True).press("Enter")
    page.get_by_role("link", name="Settle it").first.press("Enter")
    expect(page.locator("article.card")).to_have_count(1)


def test_a_field_is_chosen_and_stands_in_the_address(opened: Open, address: str) -> None:
    page = opened(f"{address}/agreement")
    page.get_by_label("Field:").select_option("size_cm")
    page.get_by_role("button", name="Show").press("Enter")
    page.wait_for_url("**/agreement?field=size_cm*")
    expect(page.locator("#one-field")).to_have_text("Greatest width: recorder by recorder")
