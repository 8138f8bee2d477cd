"""Agreement, all of it: by field for all recorders, for each pair of them and for each against all others, and by month."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from fieldkit.base import View
from fieldkit.protocol import Field, Protocol, agree
from fieldkit.reports.agreement.compared import LEVEL, Compared, Pair, compared
from fieldkit.reports.agreement.evidence import Double, ProtocolOf, evidence
from fieldkit.reports.agreement.practice import Score, practice_scores


@dataclass(frozen=True)
class Month:
    """What a recorder and all partners compared in one month (ISO 8601, 2026-11), and how much of it agreed."""

    month: str
    n: int
    agree: int


@dataclass(frozen=True)
class RecorderAgreement:
    """One recorder against all partners, whoever they were."""

    recorder: str
    compared: Compared
    months: tuple[Month, ...]


@dataclass(frozen=True)
class FieldAgreement:
    """One field. In `pairs` the first recorder's values are the rows of the table."""

    field: Field
    everyone: Compared
    pairs: Mapping[tuple[str, str], Compared]
    recorders: tuple[RecorderAgreement, ...]
    only_one: int
    """Doubles of which one recorder noted it and the other left it out."""


@dataclass(frozen=True)
class Repeats:
    """How many of the corals seen on one visit a second recorder took."""

    site: str
    visit: str
    corals: int
    repeated: int

    @property
    def share(self) -> float:
        return self.repeated / self.corals


@dataclass(frozen=True)
class Agreement:
    """Everything that doubles say of those who recorded them.

    Attributes:
        protocol: the newest under which any of it was noted; its fields are those that are told.
        doubles: how many pairs of observations it comes from; `left_out`: see `Evidence`.
        fields: those that were noted on both sides, in the order of the protocol.
        drift: by recorder, all fields together, month by month.
        planned: the share of corals that the protocol wants a second recorder to take; None: it plans none.
        repeats: by visit, the newest first.
    """

    protocol: Protocol | None
    doubles: int
    left_out: Mapping[str, int]
    fields: tuple[FieldAgreement, ...]
    drift: Mapping[str, tuple[Month, ...]]
    planned: float | None
    repeats: tuple[Repeats, ...]
    practice: tuple[Score, ...]


def agreement(view: View, protocol_of: ProtocolOf) -> Agreement:
    """How far recorders agree. Reads only."""
    found = evidence(view, protocol_of)
    fields = [field for field in (found.protocol.fields_of("coral") if found.protocol else ()) if field.kind != "text"]
    told = [one for field in fields if (one := _field(field, found.doubles))]
    planned = found.protocol.blind_repeats if found.protocol else None
    return Agreement(
        protocol=found.protocol,
        doubles=len(found.doubles),
        left_out=found.left_out,
        fields=tuple(told),
        drift=_together(told),
        planned=float(planned) / 100 if planned is not None else None,
        repeats=tuple(_repeats(view, found.doubles)),
        practice=tuple(practice_scores(view, protocol_of)),
    )


def as_json(found: Agreement) -> dict[str, Any]:
    """The same for programs; docs/commands.md describes it."""
    return {
        "protocol": {"name": found.protocol.name, "version": found.protocol.version} if found.protocol else None,
        "level": LEVEL,
        "doubles": found.doubles,
        "left_out": dict(found.left_out),
        "fields": [
            {
                "field": one.field.name,
                "kind": one.field.kind,
                "ordered": one.field.ordered,
                "only_one": one.only_one,
                "all": _plain(one.everyone),
                "pairs": [{"recorders": list(pair), **_plain(told)} for pair, told in one.pairs.items()],
                "recorders": [
                    {"recorder": who.recorder, **_plain(who.compared), "months": [asdict(month) for month in who.months]}
                    for who in one.recorders
                ],
            }
            for one in found.fields
        ],
        "drift": [{"recorder": who, "months": [asdict(month) for month in months]} for who, months in found.drift.items()],
        "repeats": {"planned": found.planned, "visits": [asdict(one) | {"share": one.share} for one in found.repeats]},
        "practice": [
            asdict(score) | {"fields": {name: {"n": n, "agree": fit} for name, (n, fit) in score.fields.items()}}
            for score in found.practice
        ],
    }


def _plain(told: Compared) -> dict[str, Any]:
    return asdict(told) | {"share": told.share}


def _field(field: Field, doubles: Iterable[Double]) -> FieldAgreement | None:
    by_pair: dict[tuple[str, str], list[Pair]] = defaultdict(list)
    by_recorder: dict[str, list[tuple[str, Pair]]] = defaultdict(list)
    only_one = 0
    for double in doubles:
        values = [said.get(field.name) for said in double.values]
        if None in values:
            only_one += values != [None, None]
            continue
        one, other = values
        by_pair[double.recorders].append((one, other))
        for recorder, pair in zip(double.recorders, ((one, other), (other, one)), strict=True):
            by_recorder[recorder].append((f"{double.day:%Y-%m}", pair))
    everyone = compared(field, [pair for pairs in by_pair.values() for pair in pairs], parts=False)
    if everyone is None:
        return None
    pairs = {who: told for who, values in sorted(by_pair.items()) if (told := compared(field, values, parts=True))}
    return FieldAgreement(field, everyone, pairs, tuple(_recorders(field, by_recorder)), only_one)


def _recorders(field: Field, by_recorder: Mapping[str, Sequence[tuple[str, Pair]]]) -> Iterator[RecorderAgreement]:
    for recorder, said in sorted(by_recorder.items()):
        months: dict[str, list[Pair]] = defaultdict(list)
        for month, pair in said:
            months[month].append(pair)
        by_month = (
            Month(month, len(pairs), sum(agree(field, *pair) for pair in pairs)) for month, pairs in sorted(months.items())
        )
        if told := compared(field, [pair for _, pair in said], parts=True):
            yield RecorderAgreement(recorder, told, tuple(by_month))


def _together(fields: Iterable[FieldAgreement]) -> dict[str, tuple[Month, ...]]:
    """All fields together, by recorder and month: each value that two noted is one comparison."""
    counts: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
    for field in fields:
        for who in field.recorders:
            for month in who.months:
                counts[who.recorder][month.month][0] += month.n
                counts[who.recorder][month.month][1] += month.agree
    return {
        recorder: tuple(Month(month, n, agreeing) for month, (n, agreeing) in sorted(months.items()))
        for recorder, months in sorted(counts.items())
    }


def _repeats(view: View, doubles: Iterable[Double]) -> list[Repeats]:
    """By visit how many corals were seen, and how many of them by two people."""
    twice: dict[tuple[str, str], set[str]] = defaultdict(set)
    for double in doubles:
        twice[double.site, double.visit].add(double.coral)
    sites = {id_: str(said.get("name", id_)) for id_, said in view.things("site").items()}
    rows = view.rows(
        "SELECT thing.scope AS site, visit, count(*) AS n FROM seen JOIN thing ON thing.kind = 'plot' AND thing.id = seen.unit"
        " WHERE thing.scope IS NOT NULL GROUP BY 1, 2"
    )
    found = [Repeats(sites.get(row["site"], ""), row["visit"], row["n"], len(twice[row["site"], row["visit"]])) for row in rows]
    return sorted(found, key=lambda one: (one.visit, one.site), reverse=True)
