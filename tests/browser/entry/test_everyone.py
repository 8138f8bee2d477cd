"""Everyone can use the entry page: axe-core's rules on every state, keys large enough for a wet thumb, keyboard alone, narrow
screens and large text."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import until
from tests.browser.entry.conftest import LAPTOP, Phone, Phones, Shore, phones_of
from tests.browser.entry.states import BEFORE_PAIRING, PLOT, SITE, STATES
from tests.browser.test_pages import violations

# A pixel of a page in many browsers is a fraction of one on the screen.
SLACK = 0.5
# What the browser says of a question that the base answers with no, or not at all.
UNANSWERED = "Failed to load resource"


@pytest.fixture(scope="module", params=STATES)
def shown(request: pytest.FixtureRequest, browser: Browser, shore: Shore) -> Iterator[Page]:
    """The page in one of its states: brought about once, and left as it is by all that is asked of it."""
    with phones_of(browser, shore) as phones:
        phone = phones(expected=UNANSWERED)
        yield STATES[request.param](phone if request.param in BEFORE_PAIRING else phone.pair()).page


@pytest.fixture
def state(shown: Page) -> Iterator[Page]:
    """On a phone of the usual size."""
    yield shown
    shown.set_viewport_size({"width": 360, "height": 740})
    shown.emulate_media(color_scheme="light")
    shown.evaluate("document.documentElement.style.fontSize = ''")


def test_no_state_breaks_a_rule_of_accessibility_light_or_dark(state: Page) -> None:
    light = violations(state)
    state.emulate_media(color_scheme="dark")
    assert (light, violations(state, "color-contrast")) == ([], [])


SMALL = """least => [...document.querySelectorAll("button, a[href], input, select, textarea, summary, label.key")]
    .filter(it => it.checkVisibility() && !it.closest("label.key > *") && !it.classList.contains("unseen"))
    .map(it => ({name: it.innerText || it.ariaLabel || it.outerHTML.slice(0, 60), box: it.getBoundingClientRect()}))
    .filter(({box}) => box.width < least || box.height < least)
    .map(({name, box}) => `${name}: ${box.width} x ${box.height}`)"""
CLOSE = """apart => {
    const seen = it => [...it.querySelectorAll(".key")].filter(key => key.checkVisibility());
    const boxes = it => seen(it).map(key => key.getBoundingClientRect());
    const gap = (a, b) => Math.max(a.left - b.right, b.left - a.right, a.top - b.bottom, b.top - a.bottom);
    const gaps = all => all.flatMap((a, i) => all.slice(i + 1).map(b => gap(a, b)));
    return [...document.querySelectorAll(".in-hand, .foot")].flatMap(it => gaps(boxes(it))).filter(it => it > -1 && it < apart);
}"""
SIDEWAYS = """[document.scrollingElement, ...document.querySelectorAll("main, .lines")]
    .some(it => it.scrollWidth > it.clientWidth + 1)"""


def test_whatever_can_be_pressed_is_at_least_48_pixels(state: Page) -> None:
    assert state.evaluate(SMALL, 48 - SLACK) == []


def test_keys_of_every_coral_are_at_least_60_pixels_and_8_apart(state: Page) -> None:
    keys = state.locator(".in-hand .key:not(.plain), .foot .key")
    boxes = [keys.nth(i).bounding_box() or {} for i in range(keys.count())]
    assert [box for box in boxes if min(box["width"], box["height"]) < 60 - SLACK] == []
    assert state.evaluate(CLOSE, 8 - SLACK) == []


def is_wide(page: Page) -> bool:
    """Whether anything makes the page scroll sideways."""
    return bool(page.evaluate(SIDEWAYS))


def test_nothing_is_wider_than_a_narrow_phone(state: Page) -> None:
    state.set_viewport_size({"width": 320, "height": 640})
    assert not is_wide(state)


def test_text_may_be_twice_as_large(state: Page) -> None:
    state.evaluate("document.documentElement.style.fontSize = '200%'")
    assert not is_wide(state)
    if state.locator(".foot").count():
        expect(state.locator(".foot .finish")).to_be_in_viewport(ratio=0.99)


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
    phone.begin(SITE, PLOT)
    tag = phone.tag.inner_text()
    phone.go_on()
    expect(phone.page.locator("[role=status].unseen")).to_contain_text(f"{tag} stored. Row 2")


def test_a_screen_begins_at_its_heading(phone: Phone) -> None:
    phone.begin(SITE, PLOT).tap("More")
    until(phone.page, "document.activeElement.tagName === 'H1'")


def test_no_key_moves(phones: Phones) -> None:
    """Whoever wants no motion has none, and no phone draws frames of it in the time it has for the next row."""
    some = phones(reduced_motion="no-preference").pair().begin(SITE, PLOT)
    assert some.finish.evaluate("it => getComputedStyle(it).transitionDuration") == "0s"
