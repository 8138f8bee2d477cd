"""Everyone can use the entry page: axe-core's rules on every state, keys large enough for a wet thumb, keyboard alone, narrow
screens and large text."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import until
from tests.browser.entry.conftest import LAPTOP, Phone, Phones
from tests.browser.test_pages import violations

SITE, PLOT = "Ray Steps", "RAY-11"

# A pixel of a page in many browsers is a fraction of one on the screen.
SLACK = 0.5


def slate(phone: Phone) -> Phone:
    return phone.begin(SITE, PLOT)


def opened(*keys: str) -> Callable[[Phone], Phone]:
    return lambda phone: slate(phone).tap(*keys)


def typed_wrong(phone: Phone) -> Phone:
    opened("Live tissue")(phone).page.get_by_role("textbox").fill("120")
    return phone


def half_read(phone: Phone) -> Phone:
    slate(phone).go_on().tap("Bleaching").key("Pale").click()
    return phone.go_on().tap("Dead", "Next")


def missing(phone: Phone) -> Phone:
    expect(opened("Missing")(phone).words).to_have_text("Missing")
    return phone


def counted(phone: Phone) -> Phone:
    return phone.begin("Old Moorings", "OLD-11")


def ended(phone: Phone) -> Phone:
    half_read(phone).tap("More").key("Dive ended here").click()
    phone.page.locator(".finish-screen").wait_for()
    return phone


def unfolded(phone: Phone) -> Phone:
    slate(phone).go_on().tap("More", "Finish the slate")
    phone.page.evaluate("document.querySelectorAll('details').forEach(it => it.open = true)")
    return phone


def at(screen: str) -> Callable[[Phone], Phone]:
    def go(phone: Phone) -> Phone:
        phone.page.goto(f"{phone.shore.address}/enter/#{screen}")
        phone.page.locator("main .strip").wait_for()
        phone.page.evaluate("document.querySelectorAll('details').forEach(it => it.open = true)")
        return phone

    return go


STATES: dict[str, Callable[[Phone], Phone]] = {
    "first screen": at(""),
    "new slate": at("new"),
    "photograph a slate": at("photographed"),
    "hand in": at("hand_in"),
    "pair": at("pair"),
    "slate": slate,
    "half read": half_read,
    "choice": opened("Bleaching"),
    "choices": opened("Predation"),
    "percent": opened("Live tissue"),
    "what cannot be true": typed_wrong,
    "number": opened("Greatest width"),
    "note": opened("Note"),
    "photo": opened("Photo"),
    "missing": missing,
    "counted": counted,
    "more": opened("More"),
    "not listed": opened("More", "Add a coral that is not listed"),
    "head": opened("More", "Where, when, who"),
    "second recorder": opened("More", "Another recorder goes on"),
    "finish": unfolded,
    "dive ended": ended,
}


@pytest.mark.parametrize("state", STATES)
def test_no_state_breaks_a_rule_of_accessibility_light_or_dark(phone: Phone, state: str) -> None:
    page = STATES[state](phone).page
    light = violations(page)
    page.emulate_media(color_scheme="dark")
    assert (light, violations(page, "color-contrast")) == ([], [])


def test_a_device_that_knows_no_base_breaks_no_rule_either(phones: Phones) -> None:
    assert violations(phones().open().page) == []


SMALL = """least => [...document.querySelectorAll("button, a[href], input, select, textarea, summary, label.key")]
    .filter(it => it.checkVisibility() && !it.closest("label.key > *") && !it.classList.contains("unseen"))
    .map(it => ({name: it.innerText || it.ariaLabel || it.outerHTML.slice(0, 60), box: it.getBoundingClientRect()}))
    .filter(({box}) => box.width < least || box.height < least)
    .map(({name, box}) => `${name}: ${box.width} x ${box.height}`)"""
CLOSE = """apart => {
    const keys = [...document.querySelectorAll(".in-hand .key, .foot .key")].filter(it => it.checkVisibility());
    const boxes = keys.map(it => it.getBoundingClientRect());
    const gap = (a, b) => Math.max(a.left - b.right, b.left - a.right, a.top - b.bottom, b.top - a.bottom);
    return boxes.flatMap((a, i) => boxes.slice(i + 1).map(b => gap(a, b))).filter(it => it > -1 && it < apart);
}"""
SIDEWAYS = """[document.scrollingElement, ...document.querySelectorAll("main, .lines")]
    .some(it => it.scrollWidth > it.clientWidth + 1)"""


@pytest.mark.parametrize("state", STATES)
def test_whatever_can_be_pressed_is_at_least_48_pixels(phone: Phone, state: str) -> None:
    assert STATES[state](phone).page.evaluate(SMALL, 48 - SLACK) == []


@pytest.mark.parametrize("state", ["slate", "missing", "choice", "number", "percent", "counted"])
def test_keys_of_every_coral_are_at_least_60_pixels_and_8_apart(phone: Phone, state: str) -> None:
    page = STATES[state](phone).page
    keys = page.locator(".in-hand .key:not(.plain), .foot .key")
    boxes = [keys.nth(i).bounding_box() or {} for i in range(keys.count())]
    assert [box for box in boxes if min(box["width"], box["height"]) < 60 - SLACK] == []
    assert page.evaluate(CLOSE, 8 - SLACK) == []


def is_wide(page: Page) -> bool:
    """Whether anything makes the page scroll sideways."""
    return bool(page.evaluate(SIDEWAYS))


@pytest.mark.parametrize("state", STATES)
def test_nothing_is_wider_than_a_narrow_phone(phones: Phones, state: str) -> None:
    narrow = phones(viewport={"width": 320, "height": 640}).pair()
    assert not is_wide(STATES[state](narrow).page)


@pytest.mark.parametrize("state", ["slate", "percent", "new slate", "finish"])
def test_text_may_be_twice_as_large(phone: Phone, state: str) -> None:
    page = STATES[state](phone).page
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert not is_wide(page)
    if state in ("slate", "percent"):
        expect(phone.finish).to_be_in_viewport(ratio=0.99)


def test_a_slate_is_entered_by_keyboard_alone(phones: Phones) -> None:
    laptop = phones(**LAPTOP, is_mobile=False, has_touch=False).pair().begin(SITE, PLOT)
    keyboard = laptop.page.keyboard
    for _ in range(60):
        keyboard.press("Tab")
        if laptop.page.evaluate("document.activeElement.dataset.opens === 'bleaching'"):
            break
    keyboard.press("Enter")
    until(laptop.page, "document.activeElement.closest('.opened') !== null")
    keyboard.press("Tab")
    keyboard.press("Space")
    expect(laptop.words).to_contain_text("Bleaching")
    until(laptop.page, "document.activeElement.dataset.opens === 'bleaching'")


def test_what_is_in_focus_can_be_seen(phones: Phones) -> None:
    laptop = phones(**LAPTOP, is_mobile=False, has_touch=False).pair().begin(SITE, PLOT)
    for _ in range(12):
        laptop.page.keyboard.press("Tab")
        outline = laptop.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid"


def test_going_on_is_told_to_those_who_do_not_see_it(phone: Phone) -> None:
    slate(phone)
    tag = phone.tag.inner_text()
    phone.go_on()
    expect(phone.page.locator("[role=status].unseen")).to_contain_text(f"{tag} stored. Row 2")


def test_a_screen_begins_at_its_heading(phone: Phone) -> None:
    slate(phone).tap("More")
    until(phone.page, "document.activeElement.tagName === 'H1'")


def test_nothing_moves_for_whoever_wants_no_motion(phones: Phones) -> None:
    still = phones(reduced_motion="reduce").pair().begin(SITE, PLOT)
    assert still.finish.evaluate("it => getComputedStyle(it).transitionDuration") == "0s"
