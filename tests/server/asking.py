"""What tests of pages share: a small programme with one of each thing to settle, and a page taken apart."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from tests.support.programme import Reef


def reef() -> Reef:
    """On 1 June 2024 tag 101 disputed by KT and RS, 102 missing, 103 misread as 1O3; plot B not visited."""
    made = Reef({"A": 3, "B": 2})
    first, second = made.dive("KT", "2024-06-01"), made.dive("RS", "2024-06-01")
    made.see(first, "101", "alive", size_cm="12.5", disease=["tissue_loss", "skeletal_damage"])
    made.see(second, "101", "dead")
    made.see(first, "102", "missing")
    made.see(first, "1O3", "alive")
    return made


def token_of(page: str) -> str:
    found = re.search(r'name="token" value="([^"]+)"', page)
    assert found, "no form token on the page"
    return found[1]


class Page(HTMLParser):
    """A page taken apart: its elements with their attributes, and its forms with what their buttons say."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attributes)))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]
