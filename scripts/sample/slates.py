"""A slate before it is typed: its rows can still be changed, by hand or by mistake; then it is minted as one session."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from fieldkit.ledger import Entry, sha256
from sample.log import Log
from sample.programme import Coral, identity

DEVICES = ("base", "a", "b", "c")  # the base's laptop and the three phones of the boat


@dataclass(eq=False)
class Shot:
    """One photo: its bytes, what the camera's clock told, and what it shows (a row's coral, or the slate)."""

    body: bytes
    camera_time: datetime
    view: str

    @property
    def digest(self) -> str:
        return sha256(self.body)


@dataclass(eq=False)
class Row:
    """One line: of which coral it truly is (None for a counted group), and what will be typed.

    `mistyped` was typed first and corrected before the slate was closed; a row `taken_back` was a slip, at once retracted.
    """

    coral: Coral | None
    values: dict[str, Any]
    shots: list[Shot] = field(default_factory=list)
    mistyped: dict[str, Any] | None = None
    taken_back: bool = False

    @property
    def single(self) -> Coral:
        """The coral of a row that is of one."""
        if self.coral is None:
            raise LookupError("a row of a counted group is of no single coral")
        return self.coral


@dataclass(eq=False)
class Slate:
    """One session to be: where and when it truly was, what its head will say, its rows and photos of the slate itself."""

    name: str
    device: str
    opened_at: datetime
    true_day: date
    true_site: str
    head: dict[str, Any]
    rows: list[Row] = field(default_factory=list)
    shots: list[Shot] = field(default_factory=list)


@dataclass(frozen=True)
class Typed:
    """A slate as entries: its log, and which entry each row became."""

    slate: Slate
    log: Log
    entries: dict[Row, Entry]

    @property
    def photos(self) -> Iterable[tuple[str, bytes]]:
        """Digest and bytes of every photo named in the session, each once."""
        shots = [*self.slate.shots, *(shot for row in self.slate.rows for shot in row.shots)]
        return {shot.digest: shot.body for shot in shots}.items()


def typed(slate: Slate, *actions: Mapping[str, Any]) -> Typed:
    """The whole slate typed and closed, what was done to corals after what was seen of them."""
    log = Log(slate.name, device=identity("device", slate.device), opened_at=slate.opened_at, head=slate.head)
    for shot in slate.shots:
        log.say("photo", _photo_values(shot))
    entries = {row: _type_row(log, row) for row in slate.rows}
    for number, action in enumerate(actions):
        log.say("action", {"row": log.new_row(f"action {number}"), **action})
    log.close()
    return Typed(slate, log, entries)


def _type_row(log: Log, row: Row) -> Entry:
    """One row and the photos that hang on it; rows are numbered as they are typed."""
    row_id = log.new_row(len(log.entries))
    slips = [] if row.mistyped is None else [log.say("observation", {"row": row_id, **row.mistyped}).digest]
    entry = log.say("observation", {"row": row_id, **row.values}, replaces=slips)
    if row.taken_back:
        log.say("retract", {}, replaces=[entry.digest])
    for shot in row.shots:
        log.say("photo", {"row": row_id, **_photo_values(shot)})
    return entry


def _photo_values(shot: Shot) -> dict[str, Any]:
    return {
        "photo": shot.digest,
        "bytes": len(shot.body),
        "type": "image/jpeg",
        "camera_time": shot.camera_time.strftime("%Y-%m-%dT%H:%M:%S"),
        "view": shot.view,
    }
