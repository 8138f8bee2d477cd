"""One row of a sheet, understood: which coral or group it speaks of, and what was seen of it on which days. Pure.

Each layout turns a row into the same shape. A row is taken whole or refused whole: half a row in the ledger would have to be
told apart from the whole one when the sheet is mended and taken again.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fieldkit.register.names import folded
from fieldkit.register.sheets.cells import MAX_ROW_BYTES, NOT_READ, NOT_SEARCHED, Cells, View
from fieldkit.register.sheets.days import Day
from fieldkit.register.sheets.sheet import Row, shown

_PLACEHOLDER = re.compile(r"\{(\w+)\}")
UNKNOWN_GENOTYPE = frozenset({"?", "??", "unk", "unknown", "desconocido", "nogenotype", "n/a", "na", "-"})
"""What sheets put where nobody knows the genotype, folded: corals of "?" share nothing."""


@dataclass(slots=True)
class Seen:
    """What a row says of its coral or group on one day. `place` tells the several days of one row apart."""

    place: int
    day: Day
    values: dict[str, Any]
    cells: Cells
    recorder: str | None = None
    round: str | None = None
    day_name: str = "seen_on"


@dataclass(slots=True)
class Line:
    """One row.

    Attributes:
        cells: can still refuse the row.
        facts: what it says of the coral for good, by the register's names: species, position, days, size when planted.
        planted: in a counted plot, how many.
        notices: names of sentences about rows like this one.
        blank_states: headings of the status columns that are blank.
    """

    cells: Cells
    site: str
    plot: str
    genotype: str | None
    facts: dict[str, Any]
    tag: str | None = None
    position: str | None = None
    planted: str | None = None
    seen: tuple[Seen, ...] = ()
    notices: frozenset[str] = frozenset()
    blank_states: tuple[str, ...] = ()

    @property
    def row(self) -> int:
        return self.cells.row.number

    @property
    def planted_on(self) -> Day | None:
        return self.facts.get("planted_on")


def read_line(row: Row, layout: str, whole: View, visits: Sequence[View]) -> Line:
    """The row as a line; whatever could not be read stands in `line.cells.refused`.

    Args:
        whole: where the cells of the coral stand.
        visits: where those of each visit stand; the same view where a row has one visit.
    """
    cells = Cells(row, whole)
    line = _line(cells)
    if layout == "counts":
        _count(line)
    else:
        _identify(line)
        for place, view in enumerate(visits):
            _look(line, cells if view is whole else Cells(row, view, cells.refused), place)
        if layout == "one_row_per_coral":
            _add_last_alive(line)
    for seen in line.seen:
        _check_length(seen)
    if line.planted_on is not None:
        check_days(line, line.planted_on)
    return line


def check_days(line: Line, planted_on: Day) -> None:
    """Refuse what cannot have been before the planting."""
    data = {"planted_on": planted_on.day.isoformat()}
    for seen in line.seen:
        if seen.day.day < planted_on.day:
            seen.cells.refuse(seen.day_name, "before_planting", **data)
        elif seen.day_name == "seen_on" and {seen.day.precision, planted_on.precision} == {"day"}:
            _check_age(seen, (seen.day.day - planted_on.day).days)
    withdrawn_on = line.facts.get("withdrawn_on")
    if withdrawn_on is not None and withdrawn_on.day < planted_on.day:
        line.cells.refuse("withdrawn_on", "before_planting", **data)


def _check_age(seen: Seen, days: int) -> None:
    """Refuse a stated age that is not the difference of the days: one of the three is wrong, and nobody knows which."""
    stated = seen.cells.number("age_days")
    if stated is not None and Decimal(stated) != days:
        seen.cells.refuse("age_days", "age_otherwise", days=days)


def _line(cells: Cells) -> Line:
    site = cells.name("site")
    if site is None and not cells.refused:
        cells.refuse("site", "site_missing")
    has_plots = "plot" in cells.view.named
    plot = cells.name("plot") if has_plots else site
    if has_plots and cells.is_blank("plot"):
        cells.refuse("plot", "plot_missing")
    line = Line(cells, site or "", plot or "", cells.name("genotype"), {})
    if line.genotype is not None and folded(line.genotype) in UNKNOWN_GENOTYPE:
        line.genotype = None
        line.notices |= {"genotype_unknown"}
    said = {
        "species": cells.name("species"),
        **{name: cells.day(name) for name in ("planted_on", "known_from", "withdrawn_on")},
    }
    line.facts.update({name: value for name, value in said.items() if value is not None})
    _check_joined(cells)
    return line


def _check_joined(cells: Cells) -> None:
    """Refuse a row in which a column that others were joined into says otherwise than they do."""
    for heading, template in cells.rules.joined.items():
        names = _PLACEHOLDER.findall(template)
        made = _PLACEHOLDER.sub(lambda found: shown(cells.raw(found[1])), template)
        if not cells.is_blank(f"joined {heading}") and folded(shown(cells.raw(f"joined {heading}"))) != folded(made):
            cells.refuse(f"joined {heading}", "joined_otherwise", made=made, names=", ".join(names))


def _identify(line: Line) -> None:
    cells = line.cells
    before = len(cells.refused)
    line.tag = cells.name("tag")
    line.position = cells.name("position")
    if line.tag is None and line.position is None and len(cells.refused) == before:
        cells.refuse("tag" if "tag" in cells.view.named else "position", "no_identity")
    if line.position is not None:
        line.facts["position"] = line.position


def _look(line: Line, cells: Cells, place: int) -> None:
    """What was seen at one visit."""
    state, day, values = cells.status(), cells.day("seen_on"), cells.values()
    if state == NOT_READ:
        _pass_over(line, cells, values)
    elif day is None and cells.is_blank("seen_on"):
        cells.refuse("seen_on", "day_missing")
    elif state is not None and day is not None:
        _set_state(line, state, values)
        cells.judge(values)
        _keep_planting_size(line, day, values)
        line.seen += (Seen(place, day, values, cells, cells.name("recorder"), _round(cells)),)


def _set_state(line: Line, state: str, values: dict[str, Any]) -> None:
    if state == NOT_SEARCHED:
        values["searched"] = "no"
        return
    rules = line.cells.rules
    status, tissue = rules.field("status"), rules.field("live_tissue")
    if status is not None:
        values[status.name] = state
    # "0 % live" beside "dead" says the same again, and the protocol asks for live tissue of the living alone.
    if state == "dead" and tissue is not None and tissue.only_where and _is_zero(values.get(tissue.name)):
        del values[tissue.name]
        line.notices |= {"zero_tissue"}


def _pass_over(line: Line, cells: Cells, values: dict[str, Any]) -> None:
    """A blank state is no observation. A size beside no day is that of the planting; what else stands there is refused."""
    if "status" in cells.view.named:
        line.notices |= {"not_read"}
    if "status" in cells.columns and cells.raw("status") == "":
        line.blank_states += (cells.columns["status"].heading,)
    size = cells.rules.field("size_cm")
    if size is not None and size.name in values and cells.is_blank("seen_on"):
        line.facts["size_cm"] = values.pop(size.name)
    for name in values:
        cells.refuse(cells.ours(name), "value_without_status")


def _add_last_alive(line: Line) -> None:
    """The day on which a coral was last seen alive is an observation of its own, before that of its present state."""
    cells = line.cells
    day, status = cells.day("last_alive"), cells.rules.field("status")
    if day is None or status is None:
        return
    alive = {status.name: "alive"}
    for seen in line.seen:
        if seen.day.day < day.day:
            cells.refuse("last_alive", "alive_after_seen", day=seen.day.day.isoformat())
            return
        if seen.day.day == day.day and seen.values.get(status.name) == "alive":
            return
    line.seen = (Seen(len(line.seen), day, alive, cells, cells.name("recorder"), None, "last_alive"), *line.seen)


def _count(line: Line) -> None:
    """A group of one genotype in a counted plot, on one day."""
    cells = line.cells
    if line.genotype is None and (cells.is_blank("genotype") or line.notices):
        cells.refuse("genotype", "genotype_missing")
    if line.planted_on is None and cells.is_blank("planted_on"):
        cells.refuse("planted_on", "planting_day_missing")
    line.planted = cells.count("planted")
    day, values = cells.day("seen_on"), cells.values()
    counts = {name: count for name in ("alive", "dead", "missing") if (count := cells.count(name)) is not None}
    if not counts:
        _pass_over_count(line, values)
    elif day is None and cells.is_blank("seen_on"):
        cells.refuse("seen_on", "day_missing")
    elif day is not None:
        cells.judge(values)
        line.seen = (Seen(0, day, values | counts, cells, cells.name("recorder"), _round(cells)),)


def _pass_over_count(line: Line, values: dict[str, Any]) -> None:
    line.notices |= {"not_read"}
    for name in values:
        line.cells.refuse(line.cells.ours(name), "value_without_status")


def _round(cells: Cells) -> str | None:
    """A round by its name in the protocol."""
    name = cells.name("round")
    if name is None:
        return None
    known = cells.rules.rounds.get(folded(name))
    if known is None:
        cells.refuse("round", "round_unknown", known=", ".join(cells.rules.rounds.values()) or "-")
    return known


def _keep_planting_size(line: Line, day: Day, values: dict[str, Any]) -> None:
    size = line.cells.rules.field("size_cm")
    if size is not None and day == line.planted_on and size.name in values:
        line.facts["size_cm"] = values[size.name]


def _is_zero(value: Any) -> bool:
    return isinstance(value, str) and Decimal(value) == 0


def _check_length(seen: Seen) -> None:
    sizes = {name: len(value.encode()) for name, value in seen.values.items() if isinstance(value, str)}
    if sum(sizes.values()) > MAX_ROW_BYTES:
        longest = max(sizes, key=lambda name: sizes[name])
        seen.cells.refuse(seen.cells.ours(longest), "row_too_long", bytes=sum(sizes.values()), most=MAX_ROW_BYTES)
