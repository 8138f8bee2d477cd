"""A slate laid on sheets of a paper: which way the paper lies, how many rows a sheet holds, and every mark's place. Pure.

From top to foot a sheet has: where it belongs and who writes it, with the plot's chart and a QR code beside; how to find the
plot, on the first sheet of each; a row a coral; the codes; the cautions. Where the codes would take more than a quarter of a
sheet, as on half sheets, it is small: then all but the rows, who writes them and the cautions stands on its back, and the
columns have short names. The paper lies in the way that takes fewer sheets.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from fieldkit.slates.chart import chart_marks
from fieldkit.slates.content import Column, Legend, Row, Slate
from fieldkit.slates.flow import LEADING, Piece, Placed, cut, flowed, wrapped
from fieldkit.slates.marks import MM_PER_PT, Code, Line, Mark, Page, Text, Width, box
from fieldkit.slates.paper import Paper

# In pt. What is read at arm's length through a mask is large; nothing is under 9. Chosen by us.
SMALL, PLAIN, LARGE, TITLE = 9.0, 11.0, 14.0, 17.0
# In mm. A box of 9 takes a sign of a gloved hand; common practice, no source.
MARGIN, ROW, HEAD_BOX, TITLE_ROW = 8.0, 9.0, 11.0, 9.0
CODE, CHART = 26.0, 30.0
BESIDE = max(CODE + 4.0, CHART)
THIN, THICK, HEAVY = 0.2, 0.35, 0.7
PAD = 1.2
STEP = SMALL * MM_PER_PT * LEADING
MOST_OF_A_SHEET = 0.25
"""What the codes may take of a sheet's height. Chosen by us."""


Lines = list[Placed]


@dataclass(frozen=True, slots=True)
class Printed:
    """A column of what is known already."""

    label: str
    room: float
    of: str
    """The field of `Row` that it shows."""
    size: float
    bold: bool = False


class Form:
    """A slate on paper that lies one way: all that its sheets have in common."""

    def __init__(self, slate: Slate, width: float, height: float, measure: Width) -> None:
        self.slate = slate
        self.width, self.height = width, height
        self.room = width - 2 * MARGIN
        self._measure = measure

    # what takes room

    @cached_property
    def printed(self) -> list[Printed]:
        """The columns at the left: those of which something is known."""
        words, rows = self.slate.words, self.slate.rows
        offered = [
            Printed("#", 0, "number", SMALL),
            Printed(self.slate.called, 0, "called", LARGE, bold=True),
            Printed(words("position"), 0, "position", SMALL),
            Printed(words("genotype"), 0, "genotype", PLAIN),
            Printed(words("planted"), 0, "planted", PLAIN),
            Printed(words("last"), 0, "last", SMALL),
        ]
        charted = len(self.slate.chart.places) if self.slate.chart else 0
        known = [
            one
            for one in offered
            if one.of in ("number", "called")
            or (any(getattr(row, one.of) for row in rows) and not (one.of == "position" and charted == len(rows)))
        ]
        return [Printed(one.label, self._room_of(one), one.of, one.size, one.bold) for one in known]

    def _room_of(self, column: Printed) -> float:
        texts = {str(getattr(row, column.of)) for row in self.slate.rows}
        if column.of == "last":  # in two lines
            texts = {part for text in texts for part in text.split(", ")}
        widest = max((self._measure(text, column.size, column.bold) for text in texts), default=0.0)
        return min(max(widest + 2 * PAD, 7.0 if column.of == "number" else 12.0), self.room * 0.2)

    @cached_property
    def bands(self) -> list[list[Column]]:
        """The boxes of a row, in as many lines as they need; each line fills the sheet."""
        room = self.room - sum(one.room for one in self.printed)
        return _filled([self._of_the_size(one) for one in self.slate.boxes], room, last_takes_the_rest=True)

    def _of_the_size(self, column: Column) -> Column:
        if not self.is_small:
            return column
        called = column.short or column.label
        return Column(called, max(column.room, self._measure(called, SMALL, False) + 2 * PAD))

    @cached_property
    def labels(self) -> list[list[list[str]]]:
        """Of each line of boxes, what stands over each box, turned and in as many lines as the box is wide."""
        return [[self._label(column.label, column.room) for column in band] for band in self.bands]

    @cached_property
    def printed_labels(self) -> list[list[str]]:
        return [self._label(one.label, one.room) for one in self.printed]

    def _label(self, label: str, room: float) -> list[str]:
        """As low as it goes without breaking a word: in as many lines as its box is wide."""
        if self.is_small:
            return [cut(label, room - 0.5, SMALL, self._measure)]
        most = max(1, int((room - 1) / STEP))
        tall = max((self._measure(word, SMALL, False) for word in label.split()), default=0.0)
        while len(lines := wrapped(label, tall, SMALL, self._measure)) > most:
            tall += 2
        return lines

    def _tall(self, labels: Sequence[Sequence[str]]) -> float:
        if self.is_small:
            return STEP + PAD
        return max((self._measure(line, SMALL, False) for label in labels for line in label), default=0.0) + 2 * PAD

    @cached_property
    def heads(self) -> list[float]:
        """How high the labels over each line of boxes are."""
        tall = [self._tall(labels) for labels in self.labels]
        lacking = self._tall(self.printed_labels) - sum(tall)
        return [*tall[:-1], tall[-1] + max(0.0, lacking)]

    @cached_property
    def codes(self) -> Lines:
        """What the boxes mean; where their names are short, what these stand for, too."""
        signs = [Piece(code) for one in self.slate.legend if not one.label for code in one.codes]
        known = [one for one in self.slate.legend if one.label and (one.codes or self.is_small)]
        pieces = [piece for one in known for piece in (*self._names(one), *_with_ends(one.codes))]
        return [
            *flowed(signs, self.room, SMALL, self._measure, gap=1.0),
            *flowed(pieces, self.room, SMALL, self._measure, gap=0.45),
        ]

    def _names(self, one: Legend) -> list[Piece]:
        if self.is_small:
            return [Piece(one.short, bold=True), Piece(f"{one.label}{':' if one.codes else '.'}")]
        return [Piece(one.label, bold=True)]

    @cached_property
    def is_small(self) -> bool:
        """Whether the codes, under their full names, would take too much of a sheet."""
        pieces = [Piece(text) for one in self.slate.legend for text in (one.label, *one.codes) if one.codes]
        lines = flowed(pieces, self.room, SMALL, self._measure, gap=0.45)
        return len(lines) * STEP > MOST_OF_A_SHEET * (self.height - 2 * MARGIN)

    @cached_property
    def cautions(self) -> Lines:
        words = self.slate.words
        text = [Piece(words("cautions"), bold=True), *(Piece(word) for one in words.cautions for word in one.split())]
        return flowed(text, self.room, SMALL, self._measure, gap=0.25)

    @cached_property
    def find(self) -> Lines:
        if not self.slate.find:
            return []
        text = [Piece(self.slate.words("find"), bold=True), *(Piece(word) for one in self.slate.find for word in one.split())]
        return flowed(text, self.room, SMALL, self._measure, gap=0.25)

    @cached_property
    def beside(self) -> float:
        """What the chart and the QR code take of the width at the top of the side on which they stand."""
        return CODE + 2 * PAD + (CHART + 2 * PAD if self.slate.chart else 0.0)

    @cached_property
    def who(self) -> list[Column]:
        words = self.slate.words
        return [Column(words("day"), 30), Column(words("recorder"), 28), Column(words("buddy"), 28), Column(words("dive"), 13)]

    @cached_property
    def head(self) -> list[list[Column]]:
        """The boxes at the top of the front."""
        if self.is_small:
            return self._boxes(self.who, self.room)
        return self._boxes([*self.who, *self.slate.head], self.room - self.beside)

    def _boxes(self, columns: Sequence[Column], room: float) -> list[list[Column]]:
        wide = [max(one.room, self._measure(one.label, SMALL, False) + 2 * PAD) for one in columns]
        return _filled([Column(one.label, wide) for one, wide in zip(columns, wide, strict=True)], room)

    @property
    def top(self) -> float:
        """How far down the strip at the top of the front reaches."""
        strip = TITLE_ROW + HEAD_BOX * len(self.head)
        return MARGIN + (strip if self.is_small else max(strip, BESIDE)) + 2 * PAD

    @property
    def foot(self) -> float:
        """Where the codes and cautions begin."""
        return self.height - MARGIN - len(self._at_foot()) * STEP - PAD

    def table(self, *, first: bool) -> float:
        """Where the labels of the columns begin."""
        return self.top + (len(self.find) * STEP + PAD if self._tells_the_place(first=first) else 0.0)

    def _tells_the_place(self, *, first: bool) -> bool:
        return first and bool(self.find) and not self.is_small

    @property
    def row_height(self) -> float:
        return ROW * len(self.bands)

    def holds(self, *, first: bool) -> int:
        """How many rows a sheet takes; never none, or no sheet would ever be the last."""
        room = self.foot - self.table(first=first) - sum(self.heads)
        return max(1, int(room / self.row_height + 1e-6))

    @cached_property
    def parts(self) -> list[tuple[Row, ...]]:
        """The rows of each sheet, each filled up with lines for what is not on the list."""
        rows = list(self.slate.rows)
        parts: list[tuple[Row, ...]] = []
        while rows or not parts:
            most = self.holds(first=not parts)
            taken, rows = rows[:most], rows[most:]
            parts.append((*taken, *[Row()] * (most - len(taken))))
        return parts

    # marks

    def pages(self, numbers: Iterator[str]) -> Iterator[Page]:
        """Every side, in the order of printing: a sheet's back follows its front.

        Args:
            numbers: of the sheets; where they end, a box is left to write one.
        """
        for place, rows in enumerate(self.parts):
            is_first = place == 0
            marks = [
                *self._strip(next(numbers, ""), place),
                *(self._lines(self.find, self.top) if self._tells_the_place(first=is_first) else ()),
                *self._table(rows, self.table(first=is_first)),
                *self._lines(self._at_foot(), self.foot + PAD),
            ]
            yield Page(self.width, self.height, tuple(marks))
            if self.is_small:
                yield Page(self.width, self.height, tuple(self._back()))

    def _at_foot(self) -> Lines:
        return self.cautions if self.is_small else [*self.codes, *self.cautions]

    def _back(self) -> Iterator[Mark]:
        room = self.room - self.beside
        yield self._titled(room)
        y = MARGIN + TITLE_ROW
        for line in self._boxes(self.slate.head, room):
            yield from self._boxes_of_the_dive(line, y)
            y += HEAD_BOX
        yield from self._beside()
        y = max(y, MARGIN + BESIDE) + PAD
        yield from self._lines([*self.find, *self.codes], y)

    def _titled(self, room: float) -> Text:
        """The site and the plot; where both are too long, the plot is what tells one slate from another."""
        plot = cut(f" · {self.slate.plot}", room * 0.8, TITLE, self._measure, bold=True)
        left = room - self._measure(plot, TITLE, True)
        site = cut(self.slate.site, left, TITLE, self._measure, bold=True)
        return Text(MARGIN, MARGIN + 6.2, TITLE, f"{site}{plot}", bold=True)

    def _lines(self, lines: Lines, y: float) -> Iterator[Mark]:
        for place, line in enumerate(lines):
            stands = y + (place + 1) * STEP - 0.9
            for x, piece in line:
                yield Text(MARGIN + x, stands, SMALL, piece.text, piece.bold)

    def _strip(self, number: str, place: int) -> Iterator[Mark]:
        """Where the sheet belongs, and the boxes of the dive."""
        words, room = self.slate.words, self.room - (0.0 if self.is_small else self.beside)
        right = MARGIN + room
        called = f"{words('sheet')} {number}".strip()
        of = words("sheet_of", n=place + 1, all=len(self.parts)) if len(self.parts) > 1 else ""
        end = right if number else right - 16.0
        left = end - self._measure(called, LARGE, True)
        yield Text(left, MARGIN + 4.4, LARGE, called, bold=True)
        if not number:
            yield Line(end + PAD, MARGIN + 4.8, right, MARGIN + 4.8, THICK)
        if of:
            yield Text(right - self._measure(of, SMALL, False), MARGIN + TITLE_ROW - 1.0, SMALL, of)
        yield self._titled(room - max(right - left, self._measure(of, SMALL, False)) - 2 * PAD)
        y = MARGIN + TITLE_ROW
        for line in self.head:
            yield from self._boxes_of_the_dive(line, y)
            y += HEAD_BOX
        if not self.is_small:
            yield from self._beside()

    def _boxes_of_the_dive(self, line: Sequence[Column], y: float) -> Iterator[Mark]:
        x = MARGIN
        for column in line:
            yield from box(x, y, column.room, HEAD_BOX, THICK)
            yield Text(x + 0.8, y + 3.3, SMALL, cut(column.label, column.room - 1, SMALL, self._measure))
            if column.label == self.slate.words("day") and self.slate.day:
                yield Text(x + 2, y + HEAD_BOX - 1.8, PLAIN, self.slate.day, bold=True)
            x += column.room

    def _beside(self) -> Iterator[Mark]:
        caption = self.slate.words("phone")
        left = self.width - MARGIN - CODE
        yield Code(left, MARGIN, CODE, self.slate.address)
        yield Text(left + (CODE - self._measure(caption, SMALL, False)) / 2, MARGIN + CODE + 3.2, SMALL, caption)
        if self.slate.chart:
            yield from chart_marks(self.slate.chart, left - 2 * PAD - CHART, MARGIN, CHART, SMALL, self._measure)

    def _table(self, rows: Sequence[Row], y: float) -> Iterator[Mark]:
        known = sum(one.room for one in self.printed)
        right = self.width - MARGIN
        first = y + sum(self.heads)
        end = first + len(rows) * self.row_height
        yield from self._printed_heads(first)
        yield from self._box_heads(MARGIN + known, y)
        x = MARGIN
        for column in self.printed:
            yield Line(x, y, x, end, THIN)
            x += column.room
        yield Line(right, y, right, end, THIN)
        yield Line(MARGIN, y, right, y, THIN)
        for place, row in enumerate(rows):
            top = first + place * self.row_height
            yield Line(MARGIN, top, right, top, HEAVY if place == 0 else THICK)
            yield from self._known(row, top)
            yield from self._bands_of_a_row(MARGIN + known, right, top)
        yield Line(MARGIN, end, right, end, THICK)

    def _printed_heads(self, foot: float) -> Iterator[Mark]:
        x = MARGIN
        for column, label in zip(self.printed, self.printed_labels, strict=True):
            yield from self._over(label, x, column.room, foot)
            x += column.room

    def _over(self, lines: Sequence[str], x: float, room: float, foot: float) -> Iterator[Mark]:
        """A label over its column: turned, to be read from below, or level where it is short."""
        if self.is_small:
            yield Text(x + (room - self._measure(lines[0], SMALL, False)) / 2, foot - PAD, SMALL, lines[0])
            return
        begins = x + (room - len(lines) * STEP) / 2
        for place, line in enumerate(lines):
            yield Text(begins + place * STEP + STEP * 0.75, foot - PAD, SMALL, line, turned=True)

    def _box_heads(self, x: float, y: float) -> Iterator[Mark]:
        for band, labels, tall in zip(self.bands, self.labels, self.heads, strict=True):
            left = x
            for column, label in zip(band, labels, strict=True):
                yield Line(left, y, left, y + tall, THIN)
                yield from self._over(label, left, column.room, y + tall)
                left += column.room
            y += tall
            yield Line(x, y, left, y, THIN)

    def _known(self, row: Row, y: float) -> Iterator[Mark]:
        x = MARGIN
        for column in self.printed:
            text = getattr(row, column.of)
            lines = text.split(", ") if column.of == "last" else [text]
            step = column.size * MM_PER_PT * LEADING
            stands = y + (self.row_height - len(lines) * step) / 2 + step * 0.77
            for place, line in enumerate(filter(None, lines)):
                fits = cut(line, column.room - PAD, column.size, self._measure, bold=column.bold)
                yield Text(x + PAD * 0.8, stands + place * step, column.size, fits, column.bold)
            x += column.room

    def _bands_of_a_row(self, x: float, right: float, y: float) -> Iterator[Mark]:
        for place, band in enumerate(self.bands):
            top = y + place * ROW
            if place:
                yield Line(x, top, right, top, THIN)
            left = x
            for column in band:
                yield Line(left, top, left, top + ROW, THIN)
                left += column.room


def laid_out(slate: Slate, paper: Paper, measure: Width) -> Form:
    """The slate on a paper, upright or lying: in fewer sheets, then with fewer lines to a row, then upright."""
    ways = ((paper.width, paper.height), (paper.height, paper.width))
    forms = (Form(slate, wide, tall, measure) for wide, tall in ways)
    return min(forms, key=lambda form: (len(form.parts), len(form.bands)))


def _filled(columns: Sequence[Column], room: float, *, last_takes_the_rest: bool = False) -> list[list[Column]]:
    """Columns in lines that fill the room: in each all grow alike, or in the last one the last column alone."""
    lines: list[list[Column]] = [[]]
    for column in columns:
        if lines[-1] and sum(one.room for one in lines[-1]) + column.room > room:
            lines.append([])
        lines[-1].append(Column(column.label, min(column.room, room)))
    filled = []
    for line in filter(None, lines):
        left = room - sum(one.room for one in line)
        shares = [left / len(line)] * len(line)
        if last_takes_the_rest and line is lines[-1]:
            shares = [*[0.0] * (len(line) - 1), left]
        filled.append([Column(one.label, one.room + share) for one, share in zip(line, shares, strict=True)])
    return filled


def _with_ends(codes: Sequence[str]) -> list[Piece]:
    return [Piece(f"{code}{'.' if code is codes[-1] else ','}") for code in codes]
