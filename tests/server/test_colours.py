"""What is written can be read: WCAG 2.2 contrast of the colours of the pages, light and dark (1.4.3 and 1.4.11)."""

from __future__ import annotations

import re

import pytest

from fieldkit.shipped import STATIC

CSS = (STATIC / "pages" / "pages.css").read_text("utf-8")
ROOTS = re.findall(r":root \{([^}]*)\}", CSS)
SCHEMES = {"light": 0, "dark": 1, "print": 2}
WRITTEN = ("ink", "quiet", "magenta", "deep", "warn", "lost", "open")
GROUNDS = ("paper", "buff", "water")


def colours(scheme: str) -> dict[str, str]:
    told = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6})", root)) for root in ROOTS]
    return {**told[0], **told[SCHEMES[scheme]]}


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    digits = "".join(digit * 2 for digit in digits) if len(digits) == 3 else digits
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_reckoned_as_the_guidelines_do() -> None:
    assert (round(contrast("#000000", "#ffffff"), 2), round(contrast("#777", "#fff"), 2)) == (21.0, 4.48)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_text_stands_out_from_every_ground(scheme: str) -> None:
    known = colours(scheme)
    weak = {(text, on): contrast(known[text], known[on]) for text in WRITTEN for on in GROUNDS}
    assert {pair: ratio for pair, ratio in weak.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_suggested_answer_can_be_read_on_its_button(scheme: str) -> None:
    known = colours(scheme)
    assert contrast(known["on-magenta"], known["magenta"]) >= 4.5


@pytest.mark.parametrize("scheme", SCHEMES)
def test_both_curves_stand_out_from_the_paper_and_from_the_band(scheme: str) -> None:
    known = colours(scheme)
    assert min(contrast(known[line], known[on]) for line in ("lost", "open") for on in ("paper", "lost-band")) >= 3


@pytest.mark.parametrize("scheme", SCHEMES)
def test_rules_between_rows_can_be_seen(scheme: str) -> None:
    known = colours(scheme)
    assert contrast(known["rule"], known["paper"]) >= 3


def test_every_rule_that_is_opened_is_closed_where_it_was() -> None:
    """A merge once left one open: a browser then drops rules in silence."""
    depth = 0
    for number, line in enumerate(re.sub(r"/\*.*?\*/", "", CSS, flags=re.DOTALL).splitlines(), 1):
        assert not (line.endswith("{") and depth and not line.startswith(" ")), f"line {number} opens a rule inside another"
        depth += line.count("{") - line.count("}")
        assert depth >= 0, f"line {number} closes what was not open"
    assert depth == 0
