"""All that speaks for one coral or another where a tag was misread, gathered from the state for `settle.suggest`."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean, pstdev
from typing import Any

from fieldkit.base import CoralRow, MatterRow, ObservationRow, SessionRow, View
from fieldkit.protocol import number
from fieldkit.protocol.protocol import STATES
from fieldkit.register.names import folded
from fieldkit.settle.place import noted
from fieldkit.settle.suggest import Candidate, Misread, Spread, Suggestion, suggest

FEWEST_KNOWN = 5
"""From fewer corals nothing can be told of how a number keeps from visit to visit. Chosen by us."""


def likely_corals(
    view: View, plot: str, session: SessionRow, asked: Sequence[MatterRow], observations: Mapping[str, ObservationRow]
) -> dict[str, Suggestion]:
    """By the matter's id, the coral that a reading was most likely meant for.

    Args:
        plot, session: to which all the matters belong.
        asked: matters about tags.
        observations: all that they are about.
    """
    slate = _Slate(view, plot, session)
    twice = {matter.corals[0] for matter in asked if len(matter.of) > 1 and matter.corals}
    absent = [one for one in slate.corals.values() if one.coral not in slate.read | twice and one.coral not in slate.gone]
    readings = [
        slate.misread(matter, observations[digest], slate.corals.get(matter.corals[0]) if len(matter.of) > 1 else None)
        for matter in asked
        for digest in matter.of
        if digest in observations
    ]
    return suggest(readings, [*absent, *slate.elsewhere({reading.noted for reading in readings})], slate.spreads())


@dataclass(frozen=True, slots=True)
class _Known:
    """A row of the slate whose coral is known."""

    line: int
    coral: Candidate
    values: Mapping[str, Any]


class _Slate:
    """What one session wrote of one plot, and what was known of the plot's corals before."""

    def __init__(self, view: View, plot: str, session: SessionRow) -> None:
        self._view, self._plot, self._session = view, plot, session
        rows = sorted(view.corals_of_plot(plot), key=_swum)
        before = _last_seen(view, [row["id"] for row in rows], session.day or "")
        self.corals = {row["id"]: _candidate(row, float(i), before.get(row["id"])) for i, row in enumerate(rows)}
        self.gone = {row["id"] for row in rows if _is_gone(row, session.day)}
        written = view.observations_of_session(session.session.id)
        self._seen_by_session = {one.coral for one in written}
        known = [_Known(_line(one), self.corals[one.coral], one.values) for one in written if one.coral in self.corals]
        self._known = sorted(known, key=lambda one: one.line)
        self.read = {one.coral.coral for one in self._known}

    def misread(self, matter: MatterRow, row: ObservationRow, anothers: Candidate | None) -> Misread:
        return Misread(
            matter.id,
            row.digest,
            noted(row.values),
            row.values.get("position"),
            row.values.get("genotype"),
            self._beside(_line(row)),
            _state(row.values),
            _numbers(row.values),
            anothers,
        )

    def elsewhere(self, tags: Iterable[str]) -> list[Candidate]:
        """The corals of other plots of the site that wear one of these tags and that the session did not read."""
        plots = self._view.things("plot")
        site = plots.get(self._plot, {}).get("site")
        ids = {coral for tag in tags if tag for coral in self._view.corals_tagged(tag)} - self._seen_by_session
        rows = [
            row
            for row in self._view.corals(ids)
            if row["plot"] != self._plot and site and plots.get(row["plot"] or "", {}).get("site") == site
        ]
        before = _last_seen(self._view, [row["id"] for row in rows], self._session.day or "")
        return [
            replace(
                _candidate(row, None, before.get(row["id"])),
                elsewhere=str(plots[row["plot"] or ""].get("name", "")),
                read_there=self._was_read_in_its_plot(row),
            )
            for row in rows
            if not _is_gone(row, self._session.day)
        ]

    def _was_read_in_its_plot(self, coral: CoralRow) -> bool | None:
        """Whether anybody read it on the visit; None where nobody read anything in its plot."""
        seen = self._view.rows(
            "SELECT max(coral = ?) AS read FROM seen WHERE unit = ? AND visit = ?",
            coral["id"],
            coral["unit"],
            self._session.visit,
        )
        return None if seen[0]["read"] is None else bool(seen[0]["read"])

    def _beside(self, line: int) -> tuple[Candidate, ...]:
        """The corals on the known rows next before and after a line."""
        before = [one.coral for one in self._known if one.line < line]
        after = [one.coral for one in self._known if one.line > line]
        return (*before[-1:], *after[:1])

    def spreads(self) -> dict[str, Spread]:
        """How each number keeps from the last visit to this one, as far as the known rows tell."""
        now: dict[str, list[float]] = defaultdict(list)
        change: dict[str, list[float]] = defaultdict(list)
        for one in self._known:
            for name, value in _numbers(one.values).items():
                if name in one.coral.numbers:
                    now[name].append(value)
                    change[name].append(value - one.coral.numbers[name])
        return {
            name: Spread(fmean(change[name]), pstdev(change[name]), fmean(values), pstdev(values))
            for name, values in now.items()
            if len(values) >= FEWEST_KNOWN and 0 < pstdev(change[name]) < pstdev(values)
        }


def _swum(row: Mapping[str, Any]) -> list[tuple[int, str]]:
    """Sorts corals in the order in which the plot is swum: by position, then by tag, numbers as numbers."""
    words = re.findall(r"\d+|\D+", f"{row['position'] or ''} {row['tag'] or ''}")
    return [(int(word), "") if word.isdigit() else (-1, word) for word in words]


def _candidate(row: Mapping[str, Any], place: float | None, before: Mapping[str, Any] | None) -> Candidate:
    state, values = (before["state"], before["values"]) if before else ("alive", {})
    return Candidate(row["id"], row["tag"], row["position"], row["genotype"], place, state, _numbers(values))


def _last_seen(view: View, corals: Iterable[str], day: str) -> dict[str, dict[str, Any]]:
    """Of each coral its last state before a day, and each of its values when it was last noted."""
    found: dict[str, dict[str, Any]] = {}
    for row in sorted(view.seen(list(corals)), key=lambda row: row["day"] or ""):
        if row["state"] and row["day"] and row["day"] < day:
            values = found.get(row["coral"], {}).get("values", {}) | row["said"]["values"]
            found[row["coral"]] = {"state": row["state"], "values": values}
    return found


def _is_gone(coral: Mapping[str, Any], day: str | None) -> bool:
    """Whether nobody would have looked for it that day: not yet planted, or withdrawn before."""
    planted, withdrawn = coral["planted_on"], coral["withdrawn_on"]
    return bool(day) and ((planted or "") > str(day) or bool(withdrawn and withdrawn < str(day)))


def _line(row: ObservationRow) -> int:
    line = row.values.get("line")
    return int(line) if isinstance(line, str) and line.isdecimal() else row.seq


def _state(values: Mapping[str, Any]) -> str | None:
    return next((value for value in values.values() if isinstance(value, str) and folded(value) in STATES), None)


def _numbers(values: Mapping[str, Any]) -> dict[str, float]:
    """What was measured. A place on the slate or in the plot is no measure."""
    told = {name: number(value) for name, value in values.items() if name not in ("line", "position", "tag")}
    return {name: float(value) for name, value in told.items() if value is not None}
