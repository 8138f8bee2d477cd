"""Corals and what became of them, as settled: the tables that the figures could be made of again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from fieldkit.exports.programme import Programme
from fieldkit.exports.table import Cell, Row, Table, columns
from fieldkit.exports.values import Recorded
from fieldkit.protocol import number
from fieldkit.protocol.number import whole
from fieldkit.settle.calendar import day_of

COUNTED = ("alive", "dead", "missing")
"""What is counted of a genotype in a counted plot."""


def corals(programme: Programme) -> Table:
    """A row each tagged coral: what was planted where, and the interval in which it was lost."""

    def rows() -> Iterator[Row]:
        for subject in programme.subjects:
            if subject.coral is None:
                continue
            coral = programme.corals[subject.coral]
            said = coral["said"]["values"]
            yield _called(programme, coral) | {
                "method": coral["method"],
                "planted_on": day_of(coral["planted_on"]),
                "precision": coral["precision"] or "day",
                "planted_size_cm": number(said.get("size_cm")),
                "points": whole(said.get("points")),
                "known_from": day_of(coral["known_from"]),
                "withdrawn_on": day_of(coral["withdrawn_on"]),
                "fate": subject.fate,
                "followed_from_days": subject.entry,
                "alive_days": subject.alive,
                "lost_days": subject.lost,
                "dead_days": subject.dead,
                "left_out": subject.left_out,
                "in_dispute": subject.disputed,
            }

    return Table(
        "corals",
        columns(
            *("coral", "site", "plot", "position", "tag", "genotype", "species", "method", ("planted_on", "day"), "precision"),
            *(("planted_size_cm", "number", "cm"), ("points", "whole", "1"), ("known_from", "day"), ("withdrawn_on", "day")),
            *("fate", ("followed_from_days", "whole", "d"), ("alive_days", "whole", "d"), ("lost_days", "whole", "d")),
            *(("dead_days", "whole", "d"), "left_out", ("in_dispute", "flag")),
        ),
        rows,
    )


def _called(programme: Programme, coral: Mapping[str, Any]) -> dict[str, Cell]:
    return {
        "coral": coral["id"],
        "site": programme.site_of(coral["plot"]),
        "plot": programme.plot_name(coral["plot"]),
        "position": coral["position"],
        "tag": coral["tag"],
        "genotype": programme.accession(coral["genotype"]),
        "species": programme.species(coral),
    }


def visits(programme: Programme) -> Table:
    """A row each coral and visit, as settled: the state that the figures use."""
    own = columns(
        *("coral", "site", "plot", "position", "tag", "genotype", "species", ("planted_on", "day"), "visit"),
        *(("seen_on", "day"), ("age_days", "whole", "d"), "state", ("in_dispute", "flag"), ("observations", "whole", "1")),
    )
    recorded = Recorded(programme.protocols(observing=True), "coral", own)

    def rows() -> Iterator[Row]:
        for coral, seen in programme.seen():
            day, planted = day_of(seen["day"]), day_of(coral["planted_on"])
            yield _called(programme, coral) | {
                "planted_on": planted,
                "visit": seen["visit"],
                "seen_on": day,
                "age_days": (day - planted).days if day and planted else None,
                "state": seen["state"],
                "in_dispute": seen["state"] is None,
                "observations": len(seen["said"]["digests"]),
                **recorded.cells(seen["said"]["values"]),
            }

    return Table("visits", (*own, *recorded.columns), rows)


def counts(programme: Programme) -> Table:
    """A row each genotype in a counted plot and visit; a group that nobody has visited has a row without a day."""
    named = ("site", "plot", "genotype", "species", "method")

    def rows() -> Iterator[Row]:
        seen: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
        for counted in programme.counted():
            seen[counted["unit"], counted["genotype"]].append(counted)
        for group in programme.view.counted():
            plot, genotype = group["unit"], group["genotype"]
            if not programme.has_group(plot, genotype):
                continue
            labels = (
                programme.site_of(plot),
                programme.plot_name(plot),
                programme.accession(genotype),
                str(programme.genotypes.get(genotype, {}).get("species", "")),
                group["method"],
            )
            planted: Row = {"planted_on": day_of(group["planted_on"]), "planted": group["planted"]}
            for visit in seen[plot, genotype] or [{"day": None, "said": {"numbers": None}}]:
                numbers = dict(zip(COUNTED, visit["said"]["numbers"] or (None, None, None), strict=True))
                yield {**dict(zip(named, labels, strict=True)), **planted, "seen_on": day_of(visit["day"]), **numbers}

    return Table(
        "counts",
        columns(
            *(*named, ("planted_on", "day"), ("planted", "whole", "1"), ("seen_on", "day")),
            *((name, "whole", "1") for name in COUNTED),
        ),
        rows,
    )
