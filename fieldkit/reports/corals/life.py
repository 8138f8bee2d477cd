"""The life of one coral: what the register says of it, all that was seen and done, and the interval in which it died."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from fieldkit.base import CoralRow, SessionRow, View
from fieldkit.protocol import Protocol
from fieldkit.reports.corals.find import Listed, Places
from fieldkit.reports.corals.said import Action, Matter, Picture, Seen, actions_of, matters_of, observations_of, seen
from fieldkit.reports.corals.sizes import Measured, sizes
from fieldkit.settle.calendar import day_of

Ages = tuple[int, int | None]
"""After the one and by the other, in days since planting; None: not seen dead."""


@dataclass(frozen=True)
class Died:
    """When it died, as the survival figures use it, with missing counted as lost and with missing left open.

    Attributes:
        lost, open: ages as settled.
        worst, best: what settling could make of `lost` and `open`, in that order; None where nothing is in dispute.
    """

    lost: Ages
    open: Ages
    worst: tuple[Ages, Ages] | None
    best: tuple[Ages, Ages] | None


@dataclass(frozen=True)
class CoralLife:
    """One coral.

    Attributes:
        listed: what it is called, where it stands, and its fate.
        tags: each tag that it wore, from which day, until which day.
        register: what else the register knows: method, lot, size_cm, known_from, withdrawn_on …
        disputed: names of values about which the register contradicts itself.
        age_days: since planting, on the day asked for or the last one on which it was known to stand; None: not known.
        died: None where it stands outside the survival figure; `left_out` says why.
        entry_days: the age from which it is followed, where that is after the planting.
        cause: what killed it, as seen when it was first found dead.
        matters: open ones first.
        protocol: the one by whose names its values are settled.
    """

    listed: Listed
    tags: tuple[tuple[str, str | None, str | None], ...]
    register: Mapping[str, Any]
    disputed: tuple[str, ...]
    age_days: int | None
    died: Died | None
    left_out: str | None
    entry_days: int
    cause: str | None
    seen: tuple[Seen, ...]
    actions: tuple[Action, ...]
    sizes: tuple[Measured, ...]
    matters: tuple[Matter, ...]
    protocol: Protocol | None

    @property
    def pictures(self) -> list[Picture]:
        """Its photos through time, each once."""
        found = {picture.photo: picture for one in self.seen for picture in one.photos}
        return sorted(found.values(), key=lambda one: (one.day, one.photo))

    @property
    def unsettled(self) -> list[Matter]:
        return [matter for matter in self.matters if matter.ruled is None]

    @property
    def timeline(self) -> list[tuple[str, str, Seen | Action | None]]:
        """Its planting, all that was seen of it and done to it, in order of days: day, kind and what; a day not known first."""
        planting = [(self.listed.planted_on, "planting", None)] if self.listed.planted_on else []
        seen = [(one.day or "", "observation", one) for one in self.seen]
        done = [(one.day or "", "action", one) for one in self.actions]
        return sorted([*planting, *seen, *done], key=lambda moment: moment[0])

    @property
    def size_field(self) -> str | None:
        return self._field("size")

    @property
    def breakage_field(self) -> str | None:
        return self._field("breakage")

    def _field(self, role: str) -> str | None:
        field = self.protocol.with_role(role) if self.protocol else None
        return field.name if field else None


def coral_life(view: View, coral: str, protocol_of: Callable[[str], Protocol | None], today: date) -> CoralLife | None:
    """The life of the coral of that id; None where there is none."""
    for row in view.corals([coral]):
        return _life(view, row, protocol_of, today)
    return None


def _life(view: View, row: CoralRow, protocol_of: Callable[[str], Protocol | None], today: date) -> CoralLife:
    rows = observations_of(view, row)
    matters = matters_of(view, row, rows)
    protocol = _newest(view.sessions({one.session for one in rows}).values(), protocol_of)
    return CoralLife(
        listed=Places(view).listed(row),
        tags=tuple(row["said"]["tags"]),
        register={name: value for name, value in row["said"]["values"].items() if name in _REGISTER},
        disputed=tuple(row["said"]["disputed"]),
        age_days=_age(row, today),
        died=_died(row),
        left_out=row["left_out"],
        entry_days=row["entry"],
        cause=row["cause"],
        seen=tuple(seen(view, rows, matters)),
        actions=tuple(actions_of(view, row["id"])),
        sizes=tuple(sizes(row, view.seen([row["id"]]), protocol)),
        matters=tuple(matters),
        protocol=protocol,
    )


_REGISTER = ("method", "points", "size_cm", "known_from", "withdrawn_on", "why", "note")


def as_json(life: CoralLife) -> dict[str, Any]:
    """The same for programs; docs/commands.md describes it. Sentences are left to whoever knows the reader's language."""
    told = asdict(replace(life, protocol=None))
    del told["protocol"]
    told["sizes"] = [{**one, "day": str(one["day"])} for one in told["sizes"]]
    listed = told.pop("listed")
    told["matters"] = [one.id for one in life.matters]
    for one, told_one in zip(life.seen, told["seen"], strict=True):
        told_one["matters"] = [matter.id for matter in one.matters]
    return {**listed, **told}


def _newest(sessions: Iterable[SessionRow], protocol_of: Callable[[str], Protocol | None]) -> Protocol | None:
    """The protocol by whose names values are settled."""
    ordered = sorted(sessions, key=lambda row: (row.day or "", row.session.id))
    known = [protocol for row in ordered if (protocol := protocol_of(row.protocol))]
    versions = {protocol for protocol in known if protocol.name == known[-1].name}
    return max(versions, key=lambda protocol: (protocol.version, protocol.digest), default=None)


def _age(row: CoralRow, today: date) -> int | None:
    """How old it is today, while it is not known to be lost or gone; of the others how old they were when last seen alive."""
    planted = day_of(row["planted_on"])
    if planted is None or planted > today:
        return None
    return (today - planted).days if row["fate"] in ("alive", "not_seen") else row["left"]


def _died(row: CoralRow) -> Died | None:
    if row["left"] is None:
        return None
    left, lost, open_ = row["left"], row["lost"], row["open"]
    if not row["disputed"]:
        return Died((left, lost), (left, open_), None, None)
    worst, best = _answered(row, "worst"), _answered(row, "best")
    return Died((left, lost), (left, open_), worst, best)


def _answered(row: Mapping[str, Any], answer: str) -> tuple[Ages, Ages]:
    left, lost, open_ = (row[f"{answer}_{end}"] for end in ("left", "lost", "open"))
    return (left, lost), (left, open_)
