"""The states that the entry page can be seen in, each brought about as a crew would: by taps, by a base that is gone or full,
by a phone without room. `STATES` names the way to each; what is asked of all of them is asked in test_everyone.py."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from typing import Any

from PIL import Image
from playwright.sync_api import expect

from tests.browser.entry.conftest import Phone

SITE, PLOT = "Ray Steps", "RAY-11"
NO_ROOM = 1_000_000  # bytes
CLOCK_AHEAD_MS = 13 * 60 * 60 * 1000

State = Callable[[Phone], Phone]


@cache
def picture(name: str = "coral") -> dict[str, Any]:
    """A photograph of 4 MB, as a phone takes it; each name is another one."""
    noise = Image.effect_noise((1600, 1200), 40 + len(name)).convert("RGB")
    bytes_ = io.BytesIO()
    noise.save(bytes_, "JPEG", quality=95)
    return {"name": f"{name}.jpg", "mimeType": "image/jpeg", "buffer": bytes_.getvalue()}


def pick(phone: Phone, *names: str) -> Phone:
    phone.page.locator("input[type=file][multiple]").first.set_input_files([picture(name) for name in names])
    return phone


def slate(phone: Phone) -> Phone:
    return phone.begin(SITE, PLOT)


def after(*keys: str) -> State:
    return lambda phone: slate(phone).tap(*keys)


def at(screen: str) -> State:
    """A screen by its address, its folds open."""

    def go(phone: Phone) -> Phone:
        phone.page.goto(f"{phone.shore.address}/enter/#{screen}")
        phone.page.locator("main .strip").wait_for()
        return unfolded(phone)

    return go


def unfolded(phone: Phone) -> Phone:
    phone.page.evaluate("document.querySelectorAll('details').forEach(it => it.open = true)")
    return phone


def with_notes(phone: Phone) -> Phone:
    """The first screen with something that is only here."""
    slate(phone).go_on().go_on()
    return at("")(phone)


def head_ready(phone: Phone) -> Phone:
    at("new")(phone)
    phone.page.get_by_label("What is recorded").select_option(label="Post-outplant monitoring")
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key("Yesterday").click()
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("KT")
    phone.key("Begin").wait_for()
    return unfolded(phone)


def half_read(phone: Phone) -> Phone:
    slate(phone).go_on().tap("Bleaching").key("Pale").click()
    return phone.go_on().tap("Dead", "Next")


def doubtful(phone: Phone) -> Phone:
    after("Live tissue", "90", "Recently dead", "20")(phone).page.locator(".in-hand .warn").wait_for()
    return phone


def typed_wrong(phone: Phone) -> Phone:
    after("Live tissue")(phone).page.get_by_role("textbox").fill("120")
    return phone


def missing(phone: Phone) -> Phone:
    expect(after("Missing")(phone).words).to_have_text("Missing")
    return phone


def tallied(phone: Phone) -> Phone:
    after("Predation")(phone).key("Drupella or other snails").click()
    return phone.tap("Close", "Animals counted")


def photographed(phone: Phone) -> Phone:
    pick(after("Photo")(phone), "coral", "coral close")
    expect(phone.page.locator(".thumbs img")).to_have_count(2)
    return phone


def counted(phone: Phone) -> Phone:
    return phone.begin("Old Moorings", "OLD-11")


def last_time_shown(phone: Phone) -> Phone:
    return phone.begin("Old Moorings", "OLD-01", protocol="Nursery round")


def planting(phone: Phone) -> Phone:
    at("new")(phone)
    phone.page.get_by_label("What is recorded").select_option(label="Outplanting")
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("KT")
    phone.key("Begin").click()
    phone.tap("Add corals")
    phone.page.get_by_label("Tags, with their genotype").fill("S301-S310, AMUR-03")
    phone.tap("Cement").page.get_by_role("textbox", name="Points of attachment").fill("2")
    phone.page.get_by_text("usual are at least 3").wait_for()
    return phone


def planted(phone: Phone) -> Phone:
    planting(phone).tap("Add 10 corals").page.locator(".in-hand").wait_for()
    return phone


def second_look(phone: Phone) -> Phone:
    """A second recorder at the same plot, on the same phone."""
    slate(phone).go_through()
    phone.tap("Back to the slate", "More", "Another recorder goes on")
    phone.page.get_by_label("Recorder").fill("EA")
    phone.key("Begin").wait_for()
    return phone


def taken_again(phone: Phone) -> Phone:
    second_look(phone).key("Begin").click()
    phone.page.locator(".in-hand", has_text="again, without").wait_for()
    return phone


def little_room(phone: Phone) -> Phone:
    """As a browser tells it; Chromium tells every page that ten gigabytes are left."""
    phone.page.add_init_script("navigator.storage.estimate = async () => ({ usage: 1e9, quota: 1.05e9 })")
    at("")(phone.pair()).page.get_by_role("alert").wait_for()
    return phone


def sought(phone: Phone) -> Phone:
    after("More")(phone).page.get_by_role("searchbox").fill("s20")
    phone.page.locator(".found").nth(5).wait_for()
    return phone


def alike(phone: Phone) -> Phone:
    after("More", "Add a coral that is not listed")(phone).page.get_by_label("Tag, as it was read").fill("S2O5")
    phone.page.locator(".found").first.wait_for()
    return phone


def slate_photos(phone: Phone) -> Phone:
    pick(after("More")(phone), "slate").page.locator(".thumbs img").wait_for()
    return phone


def to_type(phone: Phone) -> Phone:
    """A slate that was photographed, and waits on the first screen."""
    at("photographed")(phone)
    phone.page.get_by_label("What is recorded").select_option(label="Post-outplant monitoring")
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("NL")
    pick(phone, "slate").key("Done").click()
    phone.page.locator("section", has_text="Slates still to be typed").wait_for()
    return phone


def beside_its_picture(phone: Phone) -> Phone:
    to_type(phone).page.locator("section", has_text="Slates still to be typed").get_by_role("button").first.click()
    phone.page.get_by_label("Typed by").fill("EA")
    phone.key("Begin").click()
    phone.page.locator(".paper-slate img").wait_for()
    return phone


def finished(phone: Phone) -> Phone:
    """With a photo of the coral that is told of."""
    pick(after("Photo")(phone), "coral").page.locator(".thumbs img").wait_for()
    phone.tap("Close").go_on().go_on().tap("More", "Finish the slate")
    phone.page.locator(".fact figure").first.wait_for()
    return unfolded(phone)


def ended(phone: Phone) -> Phone:
    half_read(phone).tap("More").key("Dive ended here").click()
    phone.page.locator(".finish-screen").wait_for()
    return phone


def handing_in(phone: Phone) -> Phone:
    """A photo on its way over a link that would take it a minute."""
    pick(after("Photo")(phone), "coral").page.locator(".thumbs img").wait_for()
    phone.tap("Close").go_on()
    control = phone.page.context.new_cdp_session(phone.page)
    slow = {"offline": False, "latency": 50, "downloadThroughput": -1, "uploadThroughput": 25_000}
    control.send("Network.emulateNetworkConditions", slow)
    at("hand_in")(phone)
    phone.page.get_by_text("Photo: 0 kB of").wait_for()
    return phone


def handed_in(phone: Phone) -> Phone:
    slate(phone).go_on()
    at("hand_in")(phone)
    phone.page.locator(".safe").wait_for()
    return phone


def out_of_reach(phone: Phone) -> Phone:
    """No base answers, and the carry file is made instead."""
    slate(phone).go_on()
    phone.page.route("**/api/v1/**", lambda route: route.abort())
    at("hand_in")(phone)
    phone.tap("Make the file").key("Save").wait_for()
    phone.key("Try again").wait_for()
    return phone


def refused(phone: Phone) -> Phone:
    """A base whose disk is full."""
    slate(phone).go_on()
    phone.page.route("**/api/v1/entries", lambda route: route.fulfill(status=507, json={"title": "full"}))
    at("hand_in")(phone)
    phone.page.locator("main .warn").wait_for()
    return phone


def clock_off(phone: Phone) -> Phone:
    """A phone whose clock is half a day ahead of the base's."""
    phone.page.add_init_script(f"{{ const now = Date.now; Date.now = () => now() + {CLOCK_AHEAD_MS}; }}")
    phone.page.reload()
    return handed_in(phone)


def no_room(phone: Phone) -> Phone:
    control = phone.page.context.new_cdp_session(phone.page)  # the quota holds from before the page touches its databases
    control.send("Storage.overrideQuotaForOrigin", {"origin": phone.shore.address, "quotaSize": NO_ROOM})
    pick(after("Photo")(phone.pair()), "coral").page.get_by_role("alert").wait_for()
    return at("")(phone)


def no_storage(phone: Phone) -> Phone:
    phone.page.add_init_script("Object.defineProperty(globalThis, 'indexedDB', { value: undefined })")
    phone.page.reload()
    phone.page.get_by_role("alert").wait_for()
    return phone


def second_tab(phone: Phone) -> Phone:
    other = Phone(phone.page.context.new_page(), phone.shore).open()
    other.page.get_by_role("alert").wait_for()
    return other


def nothing_known(phone: Phone) -> Phone:
    return unfolded(phone.open())


STATES: dict[str, State] = {
    "first screen": at(""),
    "first screen with notes": with_notes,
    "new slate": at("new"),
    "new slate, all said": head_ready,
    "photograph a slate": at("photographed"),
    "slates to type": to_type,
    "beside its picture": beside_its_picture,
    "pair": at("pair"),
    "slate": slate,
    "half read": half_read,
    "choice": after("Bleaching"),
    "choices": after("Predation"),
    "percent": after("Live tissue"),
    "what cannot be true": typed_wrong,
    "what is doubtful": doubtful,
    "number": after("Greatest width"),
    "tally": tallied,
    "note": after("Note"),
    "photo": after("Photo"),
    "photos taken": photographed,
    "missing": missing,
    "counted": counted,
    "last time shown": last_time_shown,
    "planting": planting,
    "planted": planted,
    "second look": second_look,
    "taken again": taken_again,
    "more": after("More"),
    "found": sought,
    "photos of the slate": slate_photos,
    "not listed": after("More", "Add a coral that is not listed"),
    "not listed, but like": alike,
    "head": after("More", "Where, when, who"),
    "second recorder": after("More", "Another recorder goes on"),
    "finish": finished,
    "dive ended": ended,
    "hand in": at("hand_in"),
    "handing in": handing_in,
    "handed in": handed_in,
    "out of reach": out_of_reach,
    "refused": refused,
    "clock off": clock_off,
    "little room": little_room,
    "no room": no_room,
    "no storage": no_storage,
    "second tab": second_tab,
    "nothing known": nothing_known,
}
BEFORE_PAIRING = {"little room", "no room", "nothing known"}
"""The states that are brought about from the start; the others by a phone that is paired."""
