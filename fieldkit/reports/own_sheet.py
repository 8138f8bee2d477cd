"""A programme's own spreadsheet, given back: the columns of a mapping in their order, with what was settled.

It is the mapping run backwards: our names become their headings, our states their words, days stand in their order. A column
that was never taken is left blank, and so is what is in dispute: a blank says nothing.
Nothing in it can be run: a text that begins like a formula is kept as a text.
"""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from fieldkit.base import View
from fieldkit.base.rows import CoralRow, SeenRow
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded, in_order
from fieldkit.register.sheets import Mapping as SheetMapping
from fieldkit.register.sheets.days import Day, read_day
from fieldkit.register.sheets.mapping import FILE, NUMBER, ROLES, TAB
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.tables import written

_DAYS = frozenset({"planted_on", "seen_on", "last_alive", "known_from", "withdrawn_on"})
_ORDERS = {"ymd": "%Y-%m-%d", "dmy": "%d/%m/%Y", "mdy": "%m/%d/%Y"}

Row = dict[str, Any]


def own_sheet(view: View, mapping: SheetMapping, protocol: Protocol) -> tuple[list[str], list[list[str]]]:
    """Headings and rows: a row a coral and visit, a row a coral, or a row a coral with its visits side by side.

    Raises:
        QuestionError: a mapping of counts, which holds no corals, or one that names no columns.
    """
    headings = list(mapping.headings) or [labels[0] for labels in mapping.columns.values()]
    if not headings or mapping.layout == "counts":
        raise QuestionError.of("reports.no_own_sheet")
    return headings, [_line(headings, row) for row in _rows(view, mapping, protocol)]


def sheet_body(headings: Sequence[str], rows: Sequence[Sequence[str]], *, as_workbook: bool) -> bytes:
    """The file: XLSX with every cell a text or a number, or CSV (UTF-8) in which no cell begins a formula."""
    if not as_workbook:
        return written(headings, rows).encode("utf-8-sig")
    from openpyxl import Workbook  # noqa: PLC0415 - large: not in the memory of a server that takes in notes
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415

    book = Workbook(write_only=True)
    tab = book.create_sheet()
    for row in (headings, *rows):
        cells = [WriteOnlyCell(tab, value=text) for text in row]
        for cell in cells:
            cell.data_type = "s"  # or openpyxl would make a formula of a text that begins with "="
        tab.append(cells)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _line(headings: Sequence[str], row: Mapping[str, str]) -> list[str]:
    by_heading = {folded(heading): text for heading, text in row.items()}
    return [by_heading.get(folded(heading), "") for heading in headings]


def _rows(view: View, mapping: SheetMapping, protocol: Protocol) -> Iterator[dict[str, str]]:
    seen: dict[str, list[SeenRow]] = defaultdict(list)
    for one in view.seen():
        if one["state"] is not None and one["day"] is not None:
            seen[one["coral"]].append(one)
    sites, plots, genotypes = (view.things(kind) for kind in ("site", "plot", "genotype"))
    only = {
        name: folded(text) for name, text in mapping.constants.items() if name in ("site", "plot") and text not in (TAB, FILE)
    }
    corals = [(coral, _known(coral, sites, plots, genotypes)) for coral in view.corals()]
    corals.sort(
        key=lambda one: (one[1]["site"] or "", one[1]["plot"] or "", in_order(one[1]["position"]), in_order(one[1]["tag"]))
    )
    for coral, known in corals:
        if all(folded(known[name] or "") == text for name, text in only.items()):
            visits = sorted(seen[coral["id"]], key=lambda one: one["day"] or "")
            yield from _of_coral(mapping, protocol, known, visits)


def _known(coral: CoralRow, sites: Mapping[str, Row], plots: Mapping[str, Row], genotypes: Mapping[str, Row]) -> Row:
    plot = plots.get(coral["plot"] or "", {})
    site = sites.get(str(plot.get("site")), {})
    return {
        "site": site.get("name"),
        "plot": plot.get("name"),
        "genotype": genotypes.get(coral["genotype"] or "", {}).get("accession"),
        **{name: coral[name] for name in ("species", "position", "tag", "known_from", "withdrawn_on")},
        "planted_on": _as_known(coral["planted_on"], coral["precision"]),
    }


def _as_known(day: str | None, precision: str | None) -> str | None:
    """A day known to the month or year alone is given back so."""
    return None if day is None else day[: {"month": 7, "year": 4}.get(precision or "", 10)]


def _of_coral(mapping: SheetMapping, protocol: Protocol, known: Row, visits: Sequence[SeenRow]) -> Iterator[dict[str, str]]:
    columns = {name: labels[0] for name, labels in mapping.columns.items()}
    if mapping.layout == "wide":
        row = _written(mapping, columns, known)
        for visit in mapping.visits:
            there = next((one for one in visits if _is_of(mapping, visit.seen_on, one)), None)
            if there is not None:
                row |= _written(mapping, visit.columns, _noted(protocol, there))
        yield row
    elif mapping.layout == "one_row_per_coral":
        alive = [one["day"] for one in visits if one["state"] == "alive"]
        last = {"last_alive": alive[-1] if alive else None, **(_noted(protocol, visits[-1]) if visits else {})}
        yield _written(mapping, columns, {**known, **last})
    else:
        for one in visits:
            yield _written(mapping, columns, {**known, **_noted(protocol, one)})


def _is_of(mapping: SheetMapping, seen_on: str, one: SeenRow) -> bool:
    found = read_day(seen_on, mapping.date_order) if seen_on else None
    return isinstance(found, Day) and found.day.isoformat() == one["day"]


def _noted(protocol: Protocol, one: SeenRow) -> Row:
    """What was settled at a visit, by our names."""
    ours = {field.name: name for name, role in ROLES.items() if (field := protocol.with_role(role)) is not None}
    values = {ours.get(name, name): value for name, value in one["said"]["values"].items()}
    return {**values, "status": one["state"], "seen_on": one["day"]}


def _written(mapping: SheetMapping, columns: Mapping[str, str], said: Row) -> dict[str, str]:
    row: dict[str, str] = {}
    for name, heading in columns.items():
        text = _text(mapping, name, said.get(name))
        if text and not (name == "status" and heading in row):  # a size stands for "alive" where one column holds both
            row[heading] = text
    return row


def _text(mapping: SheetMapping, name: str, value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, (list, tuple)):
        return ";".join(_text(mapping, name, one) for one in value)
    text = str(value)
    if name in _DAYS:
        return _day(mapping, text)
    words = mapping.status if name == "status" else mapping.words.get(name, {})
    if name in mapping.fractions:
        text = f"{float(text) / 100:g}"
    told = next((word for word in words.get(text, ()) if word != NUMBER), text)
    return told.replace(".", mapping.decimal) if name in ("size_cm", "live_tissue") else told


def _day(mapping: SheetMapping, text: str) -> str:
    if len(text) < 10:  # a month or a year reads one way only
        return text
    return date.fromisoformat(text).strftime(_ORDERS[mapping.date_order or "ymd"])
