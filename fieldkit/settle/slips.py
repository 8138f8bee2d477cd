"""Rows that changed places: two neighbours on a slate, each noted under the other's tag. Pure.

It shows where a coral does what it cannot (alive after it was found dead, grown past belief) and the row beside it,
exchanged with its own, makes both lives possible and fits their sizes better. That is asked as one question about the two
rows, in place of what either of them cannot be; whoever answers that they stand as they are is then asked about that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from itertools import pairwise
from math import inf

from fieldkit.errors import Fault
from fieldkit.protocol import number
from fieldkit.settle.histories import History
from fieldkit.settle.life import Account, Life
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.place import Placement
from fieldkit.settle.reading import Reading

ALIVE_AGAIN = "settle.alive_after_dead"
GREW = "settle.grew_too_fast"

Accounts = Mapping[str, Account]
Seen = Mapping[str, Sequence[Reading]]
"""The readings of each coral."""
Tried = Callable[[str, Sequence[Reading]], Account]
"""The account of a coral, had it these readings."""


@dataclass(frozen=True, slots=True)
class Slip:
    """Two rows that may have changed places."""

    matter: Matter
    exchanged: Accounts
    """The accounts of the two corals, were it so."""
    day: date

    def shares(self, other: Slip) -> bool:
        """Whether a coral is in both."""
        return not self.exchanged.keys().isdisjoint(other.exchanged)

    def instead_of(self, told: Account) -> Account:
        """The account of one of the two corals while this is the question: what its rows make odd is not asked besides."""
        life, other = told.life, self.exchanged[told.life.coral.id].life
        worst, best = min(life.worst, other.worst, key=_lived), max(life.best, other.best, key=_lived)
        matters = tuple(matter for matter in told.matters if not _is_odd(matter, self.matter.of))
        return replace(told, life=replace(life, worst=worst, best=best, is_disputed=True), matters=matters)


def slips(accounts: Accounts, seen: Seen, placement: Placement, tried: Tried, rulings: Rulings) -> list[Slip]:
    """The pairs of rows that may have changed places, of each coral the last: what came before it was odd to nobody.

    Where a row may have done so with either neighbour, nothing tells.
    """
    coral_of = {reading.digest: coral for coral, readings in seen.items() for reading in readings}
    pairs = {
        tuple(sorted((digest, beside.digest)))
        for account in accounts.values()
        for matter in account.matters
        if matter.why.key in (ALIVE_AGAIN, GREW)
        for digest in matter.of
        for beside in placement.beside(digest)
        if coral_of.get(beside.digest, coral_of[digest]) != coral_of[digest]
    }
    rows = {reading.digest: reading for readings in seen.values() for reading in readings}
    found = [
        slip
        for one, other in sorted(pairs)
        if (slip := _slip(_Row(rows[one], coral_of[one]), _Row(rows[other], coral_of[other]), accounts, seen, tried, rulings))
    ]
    return [slip for slip in found if all(other.day < slip.day for other in found if other is not slip and slip.shares(other))]


@dataclass(frozen=True, slots=True)
class _Row:
    """A row, and the coral that it is of as noted."""

    reading: Reading
    coral: str

    @property
    def size(self) -> Decimal | None:
        field = self.reading.protocol.with_role("size") if self.reading.protocol else None
        return number(self.reading.values.get(field.name)) if field else None

    @property
    def agree_within(self) -> Decimal:
        field = self.reading.protocol.with_role("size") if self.reading.protocol else None
        return (field and field.agree_within) or Decimal(0)

    def instead_of(self, other: _Row, readings: Iterable[Reading]) -> list[Reading]:
        """The readings of a coral, were this row its own."""
        return [reading for reading in readings if reading.digest != other.reading.digest] + [self.reading]


def _slip(one: _Row, other: _Row, accounts: Accounts, seen: Seen, tried: Tried, rulings: Rulings) -> Slip | None:
    of = (one.reading.digest, other.reading.digest)
    lives = [accounts[row.coral].life for row in (one, other)]
    odd = [matter for row in (one, other) for matter in accounts[row.coral].matters if _is_odd(matter, of)]
    kinds = {matter.why.key for matter in odd}
    if not _may_explain(one, other, kinds) or not _fit_exchanged(one, other, *lives):
        return None
    exchanged = {
        one.coral: tried(one.coral, other.instead_of(one, seen[one.coral])),
        other.coral: tried(other.coral, one.instead_of(other, seen[other.coral])),
    }
    if any(_is_doubtful(account, of) for account in exchanged.values()):
        return None
    if sum(_returns(account.life) for account in exchanged.values()) > sum(map(_returns, lives)) - (ALIVE_AGAIN in kinds):
        return None
    matter = rulings.asked(_matter(one, other, *lives))
    return (
        Slip(matter, exchanged, one.reading.dive.day or date.min)
        if not matter.is_open or any(told.is_open for told in odd)
        else None
    )


def _may_explain(one: _Row, other: _Row, odd: set[str]) -> bool:
    """Whether the two rows differ in what is odd: one alive and one not, or two sizes."""
    alive = [row.reading.status == "alive" for row in (one, other)]
    sized = one.size is not None and other.size is not None
    return (ALIVE_AGAIN in odd and any(alive) and not all(alive)) or (GREW in odd and all(alive) and sized)


def _is_doubtful(account: Account, of: Iterable[str]) -> bool:
    """Whether a row is no better off here: odd again, or at odds with what another session saw."""
    return account.life.is_disputed or any(_is_odd(matter, of) for matter in account.matters)


def _is_odd(matter: Matter, of: Iterable[str]) -> bool:
    return matter.why.key in (ALIVE_AGAIN, GREW) and not set(matter.of).isdisjoint(of)


def _returns(life: Life) -> int:
    """How often it was seen alive when it had been dead or missing on the visit before."""
    seen = sorted((visit.days[visit.state], visit.state) for visit in life.visits if visit.state)
    return sum(before != "alive" and after == "alive" for (_, before), (_, after) in pairwise(seen))


def _fit_exchanged(one: _Row, other: _Row, life: Life, neighbour: Life) -> bool:
    """Whether the sizes on the rows are nearer to those of the corals exchanged than to those of the corals as noted, by more
    than two recorders may differ. Where no size tells, it may be so."""
    told = [
        (abs(row.size - own) - abs(row.size - others), row.agree_within)
        for row, mine, theirs in ((one, life, neighbour), (other, neighbour, life))
        if row.size is not None
        if (own := _expected(mine, row)) is not None and (others := _expected(theirs, row)) is not None
    ]
    return sum(nearer for nearer, _ in told) > sum(within for _, within in told) if told else True


def _expected(life: Life, row: _Row) -> Decimal | None:
    """The size of a coral on the day of a row, had it gone on growing as between the last two times it was measured."""
    field = row.reading.protocol.with_role("size") if row.reading.protocol else None
    day = row.reading.dive.day
    if field is None or day is None:
        return None
    measured = [
        (visit.days["alive"], size)
        for visit in life.seen("alive")
        if visit.days["alive"] < day and (size := number(visit.values.get(field.name))) is not None
    ]
    return _carried_on(measured[-2:], day) if measured else None


def _carried_on(measured: Sequence[tuple[date, Decimal]], day: date) -> Decimal:
    (first, small), (last, large) = measured[0], measured[-1]
    days = (last - first).days
    growth = max((large - small) / days, Decimal(0)) if days else Decimal(0)
    return large + growth * (day - last).days


def _matter(one: _Row, other: _Row, life: Life, neighbour: Life) -> Matter:
    named = sorted((life.coral.name, life.coral.id) for life in (life, neighbour))
    return Matter(
        "history",
        tuple(sorted((one.reading.digest, other.reading.digest))),
        Fault("settle.rows_swapped", {"one": named[0][0], "other": named[1][0]}),
        life.coral.plot or "",
        corals=tuple(coral for _, coral in named),
        visit=one.reading.dive.visit,
        session=one.reading.dive.id,
        answers=("swap", "stands"),
    )


def _lived(found: History) -> tuple[float, float]:
    """How long, for putting histories in order."""
    if found.lost is None:
        return (-1.0, -1.0)
    return (found.lost.left, inf if found.lost.right is None else found.lost.right)
