"""A lead's evening in a real browser: matters settled by keys alone, and a list of the boat day that turns by itself."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from fieldkit.base import Base, Statement
from fieldkit.ledger import derived_id
from tests.browser.conftest import Open, until


def open_matters(folder: Path) -> int:
    with Base(folder).view() as view:
        return len(view.matters())


def test_a_matter_is_settled_and_taken_back_by_keys_alone(own_address: str, opened: Open, tmp_path: Path) -> None:
    page = opened(f"{own_address}/matters")
    before = open_matters(tmp_path / "base")
    page.keyboard.press("j")  # the second card: a day, with its suggestion first
    page.keyboard.press("k")
    page.keyboard.press("j")
    until(page, "document.activeElement.matches('article.in-hand')")
    page.keyboard.press("1")
    until(page, "document.activeElement.name === 'who'")  # nobody has signed yet: the browser leads to the initials
    page.keyboard.type("EA")
    page.keyboard.press("Escape")
    page.evaluate("document.activeElement.blur()")
    page.evaluate("document.querySelectorAll('article.card')[1].focus()")
    page.keyboard.press("1")
    page.wait_for_url("**/matters?done=*")
    assert open_matters(tmp_path / "base") < before
    page.keyboard.press("u")
    until(page, "!document.getElementById('done') && document.querySelectorAll('article.card').length > 0")
    assert open_matters(tmp_path / "base") == before


def test_what_comes_in_shows_on_the_boat_day_without_loading_it_again(own_address: str, opened: Open, tmp_path: Path) -> None:
    page = opened(f"{own_address}/days", expected="/days")
    page.evaluate("window.loadedOnce = true; document.querySelector('details.day').open = true")
    base = Base(tmp_path / "base")
    with base.view() as view:
        site = next(iter(view.things("site")))
    here = "document.getElementById('watched').textContent.includes('9077')"
    assert not page.evaluate(here)
    said = {"boat_day": derived_id("boat day"), "site": site, "plots": [], "crew": [], "sheets": ["9077"]}
    base.say([Statement("boat_day", {**said, "day": str(date.today())})])
    until(page, here)
    assert page.evaluate("window.loadedOnce && document.querySelectorAll('details.day[open]').length") == 1
