"""What is asked about survival: of which corals, told by what, estimated how."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, TypeAlias

from fieldkit.reports.columns import LABELS
from fieldkit.reports.errors import QuestionError

Estimate: TypeAlias = Literal["npmle", "found", "round"]
Limits: TypeAlias = Literal["plots", "greenwood", "none"]


@dataclass(frozen=True)
class Question:
    """What is asked."""

    by: tuple[str, ...] = ()
    """Label names: figures for each of their values, crossed."""
    where: Mapping[str, str] = field(default_factory=dict)
    as_of: date | None = None
    since: date | None = None
    """Count from this day, of those alive then."""
    estimate: Estimate = "npmle"
    at: tuple[int, ...] = ()
    """Ages in days; none: the rounds of the protocol."""
    limits: Limits = "plots"
    level: float = 0.95
    until_age: int | None = None
    """Of the restricted mean; None: the largest age at which something is known."""

    def __post_init__(self) -> None:
        for name in (*self.by, *self.where):
            if name not in LABELS:
                raise QuestionError.of("reports.no_label", name=name, known=", ".join(LABELS))
        if not 0 < self.level < 1:
            raise QuestionError.of("reports.no_level", value=self.level)
        if self.limits == "greenwood" and self.estimate == "npmle":
            raise QuestionError.of("reports.greenwood_needs_dates")
