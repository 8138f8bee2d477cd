"""Histories as arrays: tagged corals as kept, or told anew as of a day or by rounds; and the groups of counted plots.

A *subject* is a tagged coral, or the corals of one genotype in a counted plot. It has labels (its site, genotype …) and
gives rows: an interval in which death lies, with a weight (1 for a tagged coral). What is kept goes from the base's rows
into arrays without an object for each coral, so that a programme of a hundred thousand is told in a moment.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.base import NONE, Histories, View
from fieldkit.protocol import Protocol
from fieldkit.protocol.protocol import STATES
from fieldkit.settle.calendar import day_of
from fieldkit.settle.compare import Visit
from fieldkit.settle.counted import CountedHistory, Weighted
from fieldkit.settle.counting import group_history
from fieldkit.settle.disputes import sightings, worst_and_best
from fieldkit.settle.histories import History, by_round, history

Treatment: TypeAlias = Literal["lost", "open"]
Answer: TypeAlias = Literal["settled", "worst", "best"]
TREATMENTS: tuple[Treatment, ...] = ("lost", "open")
ANSWERS: tuple[Answer, ...] = ("settled", "worst", "best")
EVERY: tuple[tuple[Treatment, Answer], ...] = tuple((treatment, answer) for treatment in TREATMENTS for answer in ANSWERS)

LABELS = ("site", "genotype", "species", "plot", "cohort", "method")
UNKNOWN = ""
"""The label of a subject of which it is not known."""
FATES = ("alive", "dead", "missing", "not_seen", "withdrawn")
WHYS = ("known_later", "no_planting_day", "planted_later")
"""Why a coral is left out."""

Numbers: TypeAlias = NDArray[np.float64]
Places: TypeAlias = NDArray[np.int64]
Counts: TypeAlias = NDArray[np.int32]
Texts: TypeAlias = NDArray[np.str_]
Flags: TypeAlias = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Coded:
    """Texts, of which each distinct one is held once: a name of twenty letters for a million corals would be 80 MB.

    Attributes:
        names: each once; some may not occur.
        code: the place of each text among the names, shape (n,).
    """

    names: Texts
    code: Counts

    @classmethod
    def of(cls, texts: Sequence[str | None]) -> Coded:
        """Of these texts, the names rising; None is unknown."""
        names, code = np.unique(np.array([text or UNKNOWN for text in texts], dtype=np.str_), return_inverse=True)
        return cls(names, code.astype(np.int32))

    @property
    def texts(self) -> Texts:
        return self.names[self.code] if self.code.size else np.zeros(0, dtype=np.str_)

    def __getitem__(self, these: Flags | Places) -> Coded:
        """Those texts."""
        return Coded(self.names, self.code[these])

    def is_(self, name: str) -> Flags:
        """Which of them it is."""
        found: Flags = (self.names == name)[self.code] if self.code.size else np.zeros(0, dtype=np.bool_)
        return found

    def told(self, name_of: Callable[[str], str]) -> Coded:
        """By other names, rising; names that become equal are one."""
        occur = np.flatnonzero(np.bincount(self.code, minlength=len(self.names)))
        names = Coded.of([name_of(name) for name in self.names[occur].tolist()])
        code = np.zeros(len(self.names), dtype=np.int32)
        code[occur] = names.code
        return Coded(names.names, code[self.code])

    def followed_by(self, other: Coded) -> Coded:
        """These and the others, the names rising."""
        if not other.code.size:
            return self
        names = Coded.of([*self.names.tolist(), *other.names.tolist()])
        return Coded(names.names, names.code[np.concatenate((self.code, other.code + np.int32(len(self.names))))])

    def replaced(self, these: Flags, other: Coded) -> Coded:
        """The other's in the place of these."""
        both = self.followed_by(other)
        return Coded(both.names, np.where(these, both.code[-these.size or None :], both.code[: these.size]))


class Labels(Mapping[str, Texts]):
    """Label name to the label of each subject; made up as texts when asked for."""

    def __init__(self, coded: Mapping[str, Coded]) -> None:
        self.coded = coded

    def __getitem__(self, name: str) -> Texts:
        return self.coded[name].texts

    def __iter__(self) -> Iterator[str]:
        return iter(self.coded)

    def __len__(self) -> int:
        return len(self.coded)


@dataclass(frozen=True, eq=False)
class Rows:
    """Intervals, one a row; all arrays of one length. `right` is `inf` where never found dead; ages in days."""

    left: Numbers
    right: Numbers
    weight: Numbers
    entry: Numbers
    """The age from which it was followed, where that is later than the planting; else 0."""
    subject: Places

    def __getitem__(self, these: Flags) -> Rows:
        """Those rows."""
        return Rows(self.left[these], self.right[these], self.weight[these], self.entry[these], self.subject[these])


@dataclass(frozen=True, eq=False)
class Subjects:
    """Subjects, an entry each in every array, and their rows by treatment of missing and answer to disputes."""

    labels: Labels
    left_out: Coded
    """Why it has no interval, or none for every estimate; unknown where it is left out of nothing."""
    disputed: Counts
    """How many of its corals are in dispute."""
    fates: Mapping[str, Counts]
    """Of each fate, how many of its corals had it."""
    rows: Mapping[tuple[Treatment, Answer], Rows]

    @property
    def corals(self) -> Counts:
        """How many were planted."""
        return np.asarray(sum(self.fates[fate] for fate in FATES))

    def chosen(self, these: Flags) -> Subjects:
        """Those subjects."""
        place = np.cumsum(these) - 1
        return Subjects(
            Labels({name: labels[these] for name, labels in self.labels.coded.items()}),
            self.left_out[these],
            self.disputed[these],
            {fate: numbers[these] for fate, numbers in self.fates.items()},
            {key: _renumbered(rows[these[rows.subject]], place) for key, rows in self.rows.items()},
        )


def _renumbered(rows: Rows, place: Places) -> Rows:
    return Rows(rows.left, rows.right, rows.weight, rows.entry, place[rows.subject])


def joined(one: Subjects, other: Subjects) -> Subjects:
    """The subjects of both, those of the first first."""
    behind = len(one.disputed)
    if not len(other.disputed):
        return one

    def rows(key: tuple[Treatment, Answer]) -> Rows:
        mine, others = one.rows[key], other.rows[key]
        left, right, weight, entry = (
            np.concatenate((getattr(mine, name), getattr(others, name))) for name in ("left", "right", "weight", "entry")
        )
        return Rows(left, right, weight, entry, np.concatenate((mine.subject, others.subject + behind)))

    return Subjects(
        Labels({name: one.labels.coded[name].followed_by(other.labels.coded[name]) for name in LABELS}),
        one.left_out.followed_by(other.left_out),
        np.concatenate((one.disputed, other.disputed)),
        {fate: np.concatenate((one.fates[fate], other.fates[fate])) for fate in FATES},
        {key: rows(key) for key in EVERY},
    )


# Tagged corals.


def as_kept(view: View) -> Subjects:
    """The tagged corals in order of their units and ids, as the base keeps them."""
    kept = view.histories()
    names = np.array([name or UNKNOWN for name in kept.names], dtype=np.str_)
    text = {name: Coded(names, code) for name, code in kept.texts.items()}
    known = kept.ages["left"] != NONE
    rows = {key: row for treatment in TREATMENTS for key, row in _kept_rows(kept, known, treatment).items()}
    return Subjects(
        labels_of(view, *(text[name] for name in ("plot", "genotype", "species", "planted_on", "method"))),
        text["left_out"],
        kept.ages["disputed"],
        {fate: text["fate"].is_(fate).astype(np.int32) for fate in FATES},
        rows,
    )


def _kept_rows(kept: Histories, known: Flags, treatment: Treatment) -> dict[tuple[Treatment, Answer], Rows]:
    """The rows of the corals with a known history, for every answer: only those in dispute can become anything else."""
    left, entry = (kept.ages[name][known].astype(np.float64) for name in ("left", "entry"))
    subject = np.flatnonzero(known)
    settled = Rows(left, _ends(kept.ages[treatment][known]), np.ones(subject.size), entry, subject)
    disputed = kept.ages["disputed"] > 0
    if not disputed.any():
        return {(treatment, answer): settled for answer in ANSWERS}

    def answered(answer: Answer) -> Rows:
        lefts, rights = left.copy(), settled.right.copy()
        its = known[disputed]
        lefts[disputed[known]] = np.maximum(kept.answered[f"{answer}_left"][its], 0)
        rights[disputed[known]] = _ends(kept.answered[f"{answer}_{treatment}"][its])
        return replace(settled, left=lefts, right=rights)

    return {(treatment, answer): settled if answer == "settled" else answered(answer) for answer in ANSWERS}


def _ends(ages: NDArray[np.int32]) -> Numbers:
    return np.where(ages == NONE, np.inf, ages)


def told_anew(view: View, as_of: date | None, rounds: Protocol | None) -> Subjects:
    """The tagged corals in order of units and ids, as they were known on a day, or with deaths dated by rounds."""
    rows = view.rows("SELECT * FROM coral ORDER BY unit, id")
    visits = _visits(view, as_of)
    told = [_histories(row, visits.get(row["id"], ()), as_of, rounds) for row in rows]
    settled = [one["settled"] for one in told]
    return Subjects(
        labels_of(
            view,
            *(Coded.of([row[name] for row in rows]) for name in ("plot", "genotype", "species", "planted_on", "method")),
        ),
        Coded.of([one.left_out for one in settled]),
        np.array([one["worst"] is not one["settled"] for one in told], dtype=np.int32),
        {fate: np.array([one.fate == fate for one in settled], dtype=np.int32) for fate in FATES},
        {(treatment, answer): _of_histories([one[answer] for one in told], treatment) for treatment, answer in EVERY},
    )


def _histories(
    row: Mapping[str, Any], visits: Sequence[Visit], as_of: date | None, rounds: Protocol | None
) -> dict[Answer, History]:
    days = {name: day_of(row[name]) for name in ("withdrawn_on", "known_from")}
    tell: Callable[..., History] = history if rounds is None else partial(by_round, rounds=rounds.rounds)
    told = partial(tell, day_of(row["planted_on"]), as_of=as_of, **days)
    settled = told(sightings(visits))
    returned = any(finding.kind == "alive_after_dead" for finding in settled.findings)
    if not row["disputed"] or not (returned or any(visit.is_disputed for visit in visits)):
        return {"settled": settled, "worst": settled, "best": settled}
    worst, best = worst_and_best(visits, told, returned=returned)
    return {"settled": settled, "worst": worst, "best": best}


def _of_histories(told: Sequence[History], treatment: Treatment) -> Rows:
    found = [
        (interval.left, np.inf if interval.right is None else interval.right, 1, one.entry, i)
        for i, one in enumerate(told)
        if (interval := getattr(one, treatment)) is not None
    ]
    return _rows(found)


def _visits(view: View, as_of: date | None) -> dict[str, list[Visit]]:
    """The visits of each coral, as far as they had taken place by a day."""
    found: dict[str, list[Visit]] = defaultdict(list)
    passing: list[tuple[str, Visit]] = []
    for row in view.seen():
        days = {state: date.fromisoformat(day) for state, day in row["said"]["days"].items()}
        visit = Visit(row["visit"], days, {}, tuple(row["said"]["digests"]))
        if as_of is None or all(day <= as_of for day in days.values()):
            found[row["coral"]].append(visit)
        elif row["visit"] <= str(as_of) or row["visit"].startswith("named"):
            passing.append((row["coral"], visit))
    for coral, visit in _by_then(view, passing, as_of):
        found[coral].append(visit)
    return found


def _by_then(view: View, passing: Sequence[tuple[str, Visit]], as_of: date | None) -> list[tuple[str, Visit]]:
    """Visits that went on past a day, with what had been seen of their states by then."""
    seen = {row.digest: row for row in view.observations({digest for _, visit in passing for digest in visit.digests})}
    sessions = view.sessions({row.session for row in seen.values()})
    found = []
    for coral, visit in passing:
        days = defaultdict(list)
        for digest in visit.digests:
            day, state = day_of(sessions[seen[digest].session].day), _state(seen[digest].values)
            if day and as_of and day <= as_of and state in visit.days:
                days[state].append(day)
        by_then = {state: max(told) if state == "alive" else min(told) for state, told in days.items()}
        found += [(coral, Visit(visit.visit, by_then, {}, visit.digests))] if by_then else []
    return found


def _state(values: Mapping[str, Any]) -> Any:
    return next((value for value in values.values() if value in STATES), None)


# Groups of counted plots.


def counted_groups(view: View, as_of: date | None) -> Subjects:
    """The corals of each genotype in each counted plot, in the order in which the base lists them."""
    groups = view.counted()
    visits: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    for row in view.counted_visits():
        visits[row["unit"], row["genotype"]].append(row["said"] | {"day": row["day"]})
    told = [_counted(row, visits[row["unit"], row["genotype"]], as_of) for row in groups]
    if not groups:
        return _none()
    planted = np.array([row["planted"] for row in groups], dtype=np.int32)
    found = {key: _of_groups([one[key[1]] for one in told], key[0]) for key in EVERY}
    gone, dead = (_weight_found(found[treatment, "settled"], len(groups)) for treatment in TREATMENTS)
    left_out = Coded.of(
        [None if one["settled"] else "planted_later" if row["planted_on"] else "no_planting_day"
         for one, row in zip(told, groups, strict=True)]
    )  # fmt: skip
    known = left_out.is_(UNKNOWN)
    fates = {
        "dead": dead,
        "missing": gone - dead,
        "alive": np.where(known, planted - gone, 0),
        "not_seen": np.where(known, 0, planted),
    }
    return Subjects(
        labels_of(
            view,
            Coded.of([row["unit"] for row in groups]),
            Coded.of([row["genotype"] for row in groups]),
            Coded.of([None] * len(groups)),
            Coded.of([row["planted_on"] for row in groups]),
            Coded.of([row["method"] for row in groups]),
        ),
        left_out,
        np.array([_apart(one["worst"], one["best"]) for one in told], dtype=np.int32),
        {fate: fates.get(fate, np.zeros(len(groups), dtype=np.int32)) for fate in FATES},
        found,
    )


def _counted(
    row: Mapping[str, Any], visits: Sequence[Mapping[str, Any]], as_of: date | None
) -> dict[str, CountedHistory | None]:
    def told(answer: str) -> CountedHistory | None:
        counts = [(date.fromisoformat(one["day"]), _numbers(one[answer])) for one in visits if one[answer] is not None]
        return group_history(day_of(row["planted_on"]), row["planted"], counts, as_of)

    return {"settled": told("numbers"), "worst": told("worst"), "best": told("best")}


def _numbers(said: Sequence[int]) -> tuple[int, int, int]:
    alive, dead, missing = said
    return alive, dead, missing


def _of_groups(told: Sequence[CountedHistory | None], treatment: Treatment) -> Rows:
    intervals: list[tuple[Weighted, ...]] = [getattr(one, treatment) if one else () for one in told]
    return _rows(
        [
            (one.left, np.inf if one.right is None else one.right, one.weight, 0, i)
            for i, group in enumerate(intervals)
            for one in group
        ]
    )


def _apart(one: CountedHistory | None, other: CountedHistory | None) -> int:
    """How many corals of a group the one history takes otherwise than the other."""
    if one is None or other is None:
        return 0

    def apart(mine: Sequence[Weighted], others: Sequence[Weighted]) -> int:
        there = {(w.left, w.right): w.weight for w in others}
        return sum(max(w.weight - there.get((w.left, w.right), 0), 0) for w in mine)

    return max(apart(one.lost, other.lost), apart(one.open, other.open))


def _weight_found(rows: Rows, subjects: int) -> Counts:
    found = np.isfinite(rows.right)
    return np.rint(np.bincount(rows.subject[found], rows.weight[found], subjects)).astype(np.int32)


# Both.


def _rows(found: Sequence[tuple[float, ...]]) -> Rows:
    left, right, weight, entry, subject = np.array(found, dtype=np.float64).reshape(-1, 5).T
    return Rows(left, right, weight, entry, subject.astype(np.int64))


def _none() -> Subjects:
    nothing, nobody = np.zeros(0), np.zeros(0, dtype=np.int32)
    rows, texts = Rows(nothing, nothing, nothing, nothing, np.zeros(0, dtype=np.int64)), Coded.of([])
    return Subjects(
        Labels(dict.fromkeys(LABELS, texts)), texts, nobody, dict.fromkeys(FATES, nobody), dict.fromkeys(EVERY, rows)
    )


def labels_of(view: View, plots: Coded, genotypes: Coded, species: Coded, planted_on: Coded, methods: Coded) -> Labels:
    """The names under which figures are told, from the ids and values that the base keeps."""
    sites, places, genets = (_register(view, kind) for kind in ("site", "plot", "genotype"))

    def site(plot: str) -> str:
        return sites.get(places.get(plot, _NOBODY)["site"] or UNKNOWN, _NOBODY)["name"] or UNKNOWN

    def place(plot: str) -> str:
        return f"{site(plot)} {places.get(plot, _NOBODY)['name'] or UNKNOWN}".strip()

    def of_genotype(name: str) -> Coded:
        return genotypes.told(lambda genotype: genets.get(genotype, _NOBODY)[name] or UNKNOWN)

    known_species = of_genotype("species")
    return Labels(
        {
            "site": plots.told(site),
            "genotype": of_genotype("accession"),
            "species": known_species.replaced(known_species.is_(UNKNOWN), species.told(str)),
            "plot": plots.told(place),
            "cohort": planted_on.told(str),
            "method": methods.told(str),
        }
    )


_SAID = ("name", "site", "accession", "species")
_NOBODY: Mapping[str, str | None] = dict.fromkeys(_SAID)


def _register(view: View, kind: str) -> dict[str, Mapping[str, str | None]]:
    """What figures need of the things of a kind: a programme of a million corals has twenty thousand plots."""
    said = ", ".join(f"CAST(json_extract(said, '$.{name}') AS TEXT) AS {name}" for name in _SAID)
    return {row["id"]: row for row in view.rows(f"SELECT id, {said} FROM thing WHERE kind = ?", kind)}
