"""What tests of slates share: a register as devices get it, and a PDF read by a program that is not ours (PDFium)."""

from __future__ import annotations

import ctypes
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
from PIL import Image

from fieldkit.protocol import Protocol
from fieldkit.slates import PAPERS, Asked, Slate, as_pdf, slates
from fieldkit.slates.content import Row
from fieldkit.slates.drawing import Printer
from fieldkit.slates.layout import laid_out
from fieldkit.slates.marks import Page
from tests.support.programme import monitoring

DPI = 300
PT_PER_MM = 72 / 25.4
ADDRESS = "https://fieldkit-k7qm.local:8443/enter"
CAUTIONS = {
    "en": ["Dive plan and limits are the dive leader’s.", "Permits and local rules decide.", "fieldkit plans no dives."],
    "es": [
        "El plan y los límites son de quien dirige la inmersión.",
        "Mandan los permisos.",
        "fieldkit no planifica inmersiones.",
    ],
}


def coral(tag: str, **said: Any) -> dict[str, Any]:
    return {"coral": f"coral {tag}", "tag": tag, "genotype": "g7", "last": None, **said}


def seen(status: str, **values: str) -> dict[str, Any]:
    return {"day": "2026-10-01", "status": status, "searched_missing": 0, "values": {"status": status, **values}}


def ring(many: int) -> list[dict[str, Any]]:
    """So many corals in a ring of 0.6 m2."""
    return [coral(f"B{100 + n}", position=f"{360 * n // many}° 0.44 m") for n in range(many)]


def register(*plots: dict[str, Any]) -> dict[str, Any]:
    made = [{"plot": f"plot-{n}", "site": "s", "recorded_as": "tagged", "corals": [], **plot} for n, plot in enumerate(plots)]
    return {
        "plots": made,
        "sites": [{"site": "s", "name": "Peñón Ray Steps"}],
        "genotypes": [{"genotype": "g7", "accession": "AMUR-07"}, {"genotype": "g8", "accession": "AMUR-08"}],
        "cautions": CAUTIONS,
    }


def made(
    *plots: dict[str, Any],
    protocol: Protocol | None = None,
    language: str = "en",
    day: date | None = None,
    blind: bool | None = None,
    notes: dict[str, Any] | None = None,
) -> list[Slate]:
    known = register(*plots)
    named = tuple(plot["plot"] for plot in known["plots"])
    return slates(known, Asked(protocol or monitoring(), named, language, ADDRESS, day, blind, notes))


def pages(found: Sequence[Slate], paper: str = "a4") -> list[Page]:
    """Every side of the slates as laid out, with the widths of the real type."""
    with Printer(title="", language="en") as printer:
        return [page for slate in found for page in laid_out(slate, PAPERS[paper], printer.measure).pages(iter(()))]


def parts(found: Slate, paper: str) -> list[tuple[Row, ...]]:
    """The rows of each sheet."""
    with Printer(title="", language="en") as printer:
        return laid_out(found, PAPERS[paper], printer.measure).parts


@dataclass(frozen=True)
class Sign:
    """A sign of a PDF: what it is, its size in pt and its box in mm from the page's top left corner."""

    text: str
    size: float
    left: float
    top: float
    right: float
    foot: float


class Read:
    """A PDF as another program reads it."""

    def __init__(self, found: Sequence[Slate], paper: str = "a4", numbers: Sequence[str] = ()) -> None:
        self.drawn = as_pdf(found, PAPERS[paper], title="slates", numbers=numbers)
        self.pdf = pdfium.PdfDocument(self.drawn.pdf)

    def __len__(self) -> int:
        return len(self.pdf)

    def text(self, page: int = 0) -> str:
        return str(self.pdf[page].get_textpage().get_text_bounded())

    def picture(self, page: int = 0) -> Image.Image:
        """What a printer of 300 dots an inch would put on the paper."""
        return self.pdf[page].render(scale=DPI / 72, grayscale=True).to_pil()

    def size_mm(self, page: int = 0) -> tuple[float, float]:
        width, height = self.pdf[page].get_size()
        return width / PT_PER_MM, height / PT_PER_MM

    def signs(self, page: int = 0) -> Iterator[Sign]:
        _, height = self.size_mm(page)
        text = self.pdf[page].get_textpage()
        for place in range(text.count_chars()):
            sign = chr(pdfium_c.FPDFText_GetUnicode(text, place))
            if sign.isspace():
                continue
            left, foot, right, top = (value / PT_PER_MM for value in text.get_charbox(place))
            size = pdfium_c.FPDFText_GetFontSize(text, ctypes.c_int(place))
            yield Sign(sign, size, left, height - top, right, height - foot)

    def lines_down(self, x_mm: float, page: int = 0) -> list[float]:
        """Where, in mm from the top, dark lines cross a column of dots of the picture."""
        dots = np.asarray(self.picture(page))
        dark = dots[:, round(x_mm / 25.4 * DPI)] < 128
        begins = np.flatnonzero(dark[1:] & ~dark[:-1]) + 1
        return [float(place) / DPI * 25.4 for place in begins]
