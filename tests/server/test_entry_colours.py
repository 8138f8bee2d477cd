"""The entry page is read in full sun: its texts keep WCAG 2.2's enhanced contrast (1.4.6, AAA), in every scheme."""

from __future__ import annotations

import re

import pytest

from fieldkit.shipped import STATIC
from tests.server.test_colours import contrast

CSS = (STATIC / "entry" / "page.css").read_text("utf-8")
ROOTS = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6})", root)) for root in re.findall(r":root \{([^}]*)\}", CSS)]
SCHEMES = dict(zip(("light", "dark", "more", "more, dark"), ROOTS, strict=True))

# Which text stands on which ground. Magenta is written on paper alone: keys have a ground of their own.
PAIRS = [(text, on) for text in ("ink", "warn") for on in ("paper", "buff", "water")]
PAIRS += [("magenta", "paper"), ("on-magenta", "magenta"), ("deep", "paper")]


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(("text", "on"), PAIRS)
def test_text_stands_out_from_its_ground_by_seven_to_one(scheme: str, text: str, on: str) -> None:
    known = SCHEMES[scheme]
    assert contrast(known[text], known[on]) >= 7


def test_no_text_is_smaller_than_18_pixels() -> None:
    # The root is the browser's own 16 px; a sign in the corner of a chosen key repeats what the fill says.
    sizes = [float(size) * 16 for size in re.findall(r"font-size: ([\d.]+)rem", CSS)]
    assert sorted(size for size in sizes if size < 18) == [0.95 * 16]
    assert "font: 500 1.125rem" in CSS
