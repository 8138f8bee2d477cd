"""A whole dive on the page as Firefox and WebKit draw it: the head, rows, a finding, a photo, the dive's end, and handing in.
(WebKitGTK is of the family of every iPhone's browser. The other tests of this folder ask Chromium.)"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from time import monotonic, sleep
from typing import Any

import pytest
from playwright.sync_api import Playwright

from tests.browser.device.windows import Engine, Window, running
from tests.browser.entry.conftest import MONITORING, Shore, handed_in

SITE, PLOT = "Ray Steps", "RAY-12"
MARKS = """
    const named = it => it.checkVisibility() && (it.innerText || it.ariaLabel || "").trim().startsWith(given);
    const found = [...document.querySelectorAll("button, label.key")].find(named);
    document.querySelectorAll("[data-next]").forEach(it => it.removeAttribute("data-next"));
    found?.setAttribute("data-next", "");
    found?.scrollIntoView({block: "center"});
    return Boolean(found) && !found.disabled;
"""
FILLS = """
    const label = [...document.querySelectorAll("label")].find(it => it.innerText.trim().startsWith(given.label));
    const field = label?.querySelector("input, select");
    if (!field) return false;
    field.value = [...(field.options ?? [])].find(it => it.text === given.text)?.value ?? given.text;
    field.dispatchEvent(new Event(field.options ? "change" : "input", {bubbles: true}));
    return true;
"""
PICKS = """
    const canvas = Object.assign(document.createElement("canvas"), {width: 800, height: 600});
    const picture = await new Promise(done => canvas.toBlob(done, "image/png"));
    const files = new DataTransfer();
    files.items.add(new File([picture], "coral.png", {type: "image/png"}));
    const input = document.querySelector("input[type=file][multiple]");
    input.files = files.files;
    input.dispatchEvent(new Event("change", {bubbles: true}));
"""


class Thumb:
    """What a crew does on the page: fills, presses, and waits for what comes of it."""

    def __init__(self, window: Window) -> None:
        self._window = window

    def until(self, body: str, given: Any = None) -> None:
        end = monotonic() + 20
        while not self._window.run(body, given):
            assert monotonic() < end, f"never came true: {given or body}\n{self._window.run('return document.body.innerText')}"
            sleep(0.03)

    def press(self, *names: str) -> None:
        for name in names:
            self.until(MARKS, name)
            self._window.press("[data-next]")

    def fill(self, label: str, text: str) -> None:
        self.until(FILLS, {"label": label, "text": text})

    def see(self, text: str) -> None:
        self.until("return document.querySelector('#page').innerText.includes(given)", text)


@pytest.fixture(params=["firefox", "webkit"])
def engine(request: pytest.FixtureRequest, playwright: Playwright, tmp_path: Path) -> Iterator[Engine]:
    with running(request.param, tmp_path, playwright) as found:
        yield found


def test_a_dive_is_entered_and_handed_in(engine: Engine, shore: Shore) -> None:
    window = engine.window()
    thumb = Thumb(window)
    window.open(f"{shore.address}/enter/#pair/{shore.code()}")
    thumb.fill("Name of this device", "blue phone")
    thumb.press("Pair with the base", "New slate")
    thumb.fill("What is recorded", MONITORING)
    thumb.fill("Site", SITE)
    thumb.press(PLOT)
    thumb.fill("Recorder", engine.name)
    thumb.press(f"Begin {PLOT}", "Alive, nothing wrong seen")
    thumb.see("1\nof")
    thumb.press("Bleaching", "P")
    thumb.see("Bleaching: Pale")
    thumb.press("Photo")
    window.run(PICKS)
    thumb.until("return document.querySelector('.thumbs img')?.naturalWidth > 0")
    thumb.press("Close", "Alive, nothing else wrong seen")
    thumb.see("2\nof")
    thumb.press("More", "Dive ended here")
    thumb.see("were not searched")
    thumb.press("The slate is done: hand in")
    thumb.see("Nothing is on this device only")
    first, second, *rest = [one.values for one in handed_in(shore, engine.name) if one.kind == "observation"]
    assert (first["bleaching"], second["bleaching"]) == ("none", "pale")
    assert rest and all(one["searched"] == "no" for one in rest)
    assert [one.values["row"] for one in handed_in(shore, engine.name) if one.kind == "photo"] == [second["row"]]
