"""What is taken out: of which corals, as of which day, and how much of places and people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from fieldkit.exports.errors import ExportError
from fieldkit.exports.places import GRAINS, Grain
from fieldkit.reports.columns import LABELS


@dataclass(frozen=True)
class Scope:
    """What is asked for.

    Attributes:
        where: label name to the label wanted (site, genotype, species, plot, cohort, method).
        as_of: what was seen and done after this day stays here; None: everything.
        places: how exactly positions are told.
        people: whether those who consented are named, and notes as they were typed go out.
    """

    where: Mapping[str, str] = field(default_factory=dict)
    as_of: date | None = None
    places: Grain = GRAINS[0]
    people: bool = False

    def __post_init__(self) -> None:
        for name in self.where:
            if name not in LABELS:
                raise ExportError.of("reports.no_label", name=name, known=", ".join(LABELS))
        if self.places not in GRAINS:
            raise ExportError.of("exports.no_grain", value=self.places, known=", ".join(GRAINS))

    def holds(self, day: str | None) -> bool:
        """Whether what happened on a day is in it; what has no day is, unless a day is asked for."""
        return self.as_of is None or (day is not None and day <= self.as_of.isoformat())
