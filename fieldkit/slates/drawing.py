"""Marks into a PDF, with the type embedded that the slates are set in: the edge to fpdf2, segno and the font's files.

The type is Atkinson Hyperlegible Next, drawn to keep 0 from O and 1 from l and I; of it the PDF holds what is used.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Self

import segno

from fieldkit.slates.content import Slate
from fieldkit.slates.layout import laid_out
from fieldkit.slates.marks import Code, Line, Page, Text
from fieldkit.slates.paper import Paper

_TYPE = "Atkinson Hyperlegible Next"
_FILES = {"": "400Regular/AtkinsonHyperlegibleNext_400Regular.ttf", "B": "700Bold/AtkinsonHyperlegibleNext_700Bold.ttf"}
_QUIET = 4
"""Modules of white around a QR code: ISO/IEC 18004."""


class Printer:
    """Draws one PDF. Holds the files of the type open until its block ends."""

    def __init__(self, *, title: str, language: str) -> None:
        from fpdf import FPDF  # noqa: PLC0415 - takes longer to load than most commands to run: only who prints waits
        from fpdf.fonts import TTFFont  # noqa: PLC0415

        self._pdf = FPDF(unit="mm")
        self._pdf.set_auto_page_break(False)
        self._pdf.set_title(title)
        self._pdf.set_lang(language)
        folder = files(__package__) / "fonts" / "@expo-google-fonts" / "atkinson-hyperlegible-next"
        for style, file in _FILES.items():
            self._pdf.add_font(_TYPE, style, str(folder / file))
        self._type = [font for font in self._pdf.fonts.values() if isinstance(font, TTFFont)]
        self._has = frozenset.intersection(*(frozenset(map(chr, font.cmap)) for font in self._type))
        self.measure = cache(self._measured)
        self.lacking: set[str] = set()
        """Signs that the type has not; they are printed as an empty frame."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for font in self._type:
            font.close()

    def _measured(self, text: str, size: float, bold: bool) -> float:
        self._pdf.set_font(_TYPE, "B" if bold else "", size)
        return self._pdf.get_string_width(text)

    def pdf(self, pages: Iterable[Page]) -> bytes:
        for page in pages:
            self._draw(page)
        return bytes(self._pdf.output())

    def _draw(self, page: Page) -> None:
        self._pdf.add_page(format=(page.width, page.height))
        for mark in page.marks:
            match mark:
                case Text():
                    self._text(mark)
                case Line():
                    self._pdf.set_line_width(mark.thick)
                    self._pdf.line(mark.x1, mark.y1, mark.x2, mark.y2)
                case Code():
                    self._code(mark)

    def _text(self, mark: Text) -> None:
        self._pdf.set_font(_TYPE, "B" if mark.bold else "", mark.size)
        self.lacking |= set(mark.text) - self._has
        if not mark.turned:
            self._pdf.text(mark.x, mark.y, mark.text)
            return
        with self._pdf.rotation(90, mark.x, mark.y):
            self._pdf.text(mark.x, mark.y, mark.text)

    def _code(self, mark: Code) -> None:
        """Drawn as rectangles, one a run of dark modules: sharp at whatever a printer resolves."""
        modules = _modules(mark.text)
        side = mark.side / (len(modules) + 2 * _QUIET)
        for down, row in enumerate(modules):
            at = 0
            for is_dark, run in itertools.groupby(row):
                long = len(list(run))
                if is_dark:
                    x, y = (mark.x + (_QUIET + at) * side, mark.y + (_QUIET + down) * side)
                    self._pdf.rect(x, y, long * side, side, style="F")
                at += long


@cache
def _modules(text: str) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(row) for row in segno.make_qr(text, error="m").matrix)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A PDF, how many sheets it has, and the signs that it shows as an empty frame because the type has them not."""

    pdf: bytes
    sheets: int
    lacking: str


def sheets_needed(slates: Sequence[Slate], paper: Paper) -> list[int]:
    """How many sheets each of the slates takes on a paper."""
    with Printer(title="", language="") as printer:
        return [len(laid_out(slate, paper, printer.measure).parts) for slate in slates]


def as_pdf(slates: Sequence[Slate], paper: Paper, *, title: str, numbers: Iterable[str] = ()) -> Drawn:
    """The slates as a PDF.

    Args:
        numbers: of the sheets, in their order; where they end, each sheet has a place to write its own.
    """
    counted = iter(numbers)
    with Printer(title=title, language=slates[0].words.language if slates else "") as printer:
        forms = [laid_out(slate, paper, printer.measure) for slate in slates]
        pdf = printer.pdf(page for form in forms for page in form.pages(counted))
    return Drawn(pdf, sum(len(form.parts) for form in forms), "".join(sorted(printer.lacking)))
