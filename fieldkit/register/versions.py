"""What was said of a registered thing, statement by statement; how it is mended, taken back, and how that is undone. Pure.

A statement says all that is known of the thing and takes the place of those before it. Nothing is changed: to undo is to say
again what stood before. Two that stand beside each other (two bases mended one thing) add up, and contradict each other where
they differ, until one statement takes the place of both.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.ledger import Entry
from fieldkit.ledger.fold import Session, merged, standing
from fieldkit.register.fields import REGISTER

Said = tuple[str, Mapping[str, Any], tuple[str, ...]]
"""Kind, values and the digests that are replaced, of an entry to be."""


@dataclass(frozen=True, slots=True)
class Version:
    """One statement about a thing, or the taking back of some.

    Attributes:
        changed: field to what was said before and what is said now; None: nothing.
        stands: whether it is in force. A taking back is in force for ever.
    """

    entry: Entry
    session: Session
    changed: Mapping[str, tuple[Any, Any]]
    stands: bool

    @property
    def is_taking_back(self) -> bool:
        return self.entry.kind == "retract"


@dataclass(frozen=True, slots=True)
class Story:
    """All that was said of a thing, the oldest first.

    Attributes:
        values: what holds now; empty where all of it was taken back.
        disputed: names of values on which standing statements contradict each other; such a value is not known.
    """

    kind: str
    id: str
    versions: tuple[Version, ...]
    values: Mapping[str, Any]
    disputed: tuple[str, ...]

    @property
    def heads(self) -> tuple[Version, ...]:
        return tuple(one for one in self.versions if one.stands and not one.is_taking_back)

    @property
    def is_there(self) -> bool:
        return bool(self.heads)

    def mended(self, values: Mapping[str, Any]) -> list[Said]:
        """The statement that these are its values from now on; none where that is so already.

        What no form knows of (a later version's field) stays as it is.
        """
        known = REGISTER[self.kind]
        others = {name: value for name, value in self.values.items() if known.field(name) is None}
        said = {**others, **values, self.kind: self.id}
        if self.is_there and not self.disputed and said == self.values:
            return []
        return [(self.kind, said, tuple(one.entry.digest for one in self.heads))]

    def taken_back(self) -> list[Said]:
        """The statement that the thing is none of the register's; none where it is not there."""
        return [("retract", {}, tuple(one.entry.digest for one in self.heads))] if self.is_there else []

    def last(self) -> Version | None:
        """What was done last, where that can be undone: the one statement that stands, or the taking back of all."""
        if self.is_there:
            return self.heads[0] if len(self.heads) == 1 else None
        return next((one for one in reversed(self.versions) if one.is_taking_back), None)

    def undone(self) -> list[Said]:
        """The statements after which the register is as it was before the last one."""
        last = self.last()
        if last is None:
            return []
        before = [one.entry for one in self.versions if one.entry.digest in last.entry.replaces and not one.is_taking_back]
        if last.is_taking_back:
            return [(self.kind, entry.values, ()) for entry in before]
        gone = (last.entry.digest,)
        return [(self.kind, entry.values, gone) for entry in before] or [("retract", {}, gone)]


def story(kind: str, id_: str, entries: Iterable[Entry], sessions: Mapping[str, Session]) -> Story:
    """What was said of a thing.

    Args:
        entries: all of its kind that name it, and all that name one of those in `replaces`; others are passed over.
        sessions: the sessions of all of them.
    """
    known = {entry.digest: entry for entry in entries}
    own = {entry.digest for entry in known.values() if entry.kind == kind and entry.values.get(kind) == id_}
    told = [entry for entry in known.values() if entry.digest in own or (entry.kind == "retract" and own & set(entry.replaces))]
    stands = standing(known.values(), sessions)
    without_effect = {*stands.not_entitled, *(digest for digest, fate in stands.fates.items() if fate == "not understood")}
    order = _in_order([entry for entry in told if entry.digest not in without_effect])
    versions = tuple(
        Version(
            entry,
            sessions[entry.session],
            _changed(kind, entry, known),
            entry.kind == "retract" or entry.digest in stands.heads,
        )
        for entry in order
    )
    values, disputed = merged(one.entry.values for one in versions if one.stands and not one.is_taking_back)
    return Story(kind, id_, versions, values, disputed)


def _in_order(entries: Collection[Entry]) -> list[Entry]:
    """What replaces another comes after it, whatever the clocks say; else by the clocks, for people to read."""
    waiting = {entry.digest: entry for entry in entries}
    order: list[Entry] = []
    while waiting:
        free = [entry for entry in waiting.values() if not waiting.keys() & set(entry.replaces)]
        following = min(free, key=lambda entry: (entry.at, entry.session, entry.seq, entry.digest))
        order.append(waiting.pop(following.digest))
    return order


def _changed(kind: str, entry: Entry, known: Mapping[str, Entry]) -> dict[str, tuple[Any, Any]]:
    before, _ = merged(known[name].values for name in entry.replaces if name in known and known[name].kind == kind)
    own = [field.name for field in REGISTER[kind].fields]
    others = sorted({*before, *entry.values} - {kind, *own})
    names = (*own, *others) if entry.kind != "retract" else ()
    return {name: (before.get(name), entry.values.get(name)) for name in names if before.get(name) != entry.values.get(name)}
