"""Two bases meet over the network: afterwards each holds what either held.

First what they lack is handed in, then what we lack is fetched; so one round is enough. What is compared are numbers and sums,
or, with `full`, every digest.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import BinaryIO

from fieldkit.base import Base, BaseError, Merged
from fieldkit.errors import Fault
from fieldkit.exchange.door import BASE, Peer
from fieldkit.exchange.exchange import MOST_LINES, Exchange, grouped
from fieldkit.exchange.handing_in import HandedIn, hand_in
from fieldkit.exchange.wire import Wire, asked, refusal
from fieldkit.ledger import Entry, sha256
from fieldkit.ledger.store import Summary

_NOT_FOUND = 404
_MOST_FAULTS = 100


@dataclass(frozen=True)
class Met:
    """What became of a meeting."""

    took: Merged
    gave: HandedIn
    after: int
    """How far the other's ledger was fetched."""


class BaseHolding:
    """What a base holds, as what may be handed in."""

    def __init__(self, base: Base) -> None:
        self._base = base

    def summaries(self) -> dict[str, Summary]:
        with self._base.glance() as view:
            return view.ledger.summaries()

    def digests(self, sessions: Collection[str]) -> dict[str, set[str]]:
        with self._base.glance() as view:
            return view.ledger.digests_of(sessions)

    def lines(self, digests: Collection[str]) -> Iterator[bytes]:
        every = list(digests)
        for start in range(0, len(every), MOST_LINES):
            with self._base.glance() as view:
                yield from (entry.line for entry in view.ledger.with_digests(every[start : start + MOST_LINES]))

    def photos(self) -> list[str]:
        with self._base.glance() as view:
            redacted = view.redacted()
        return sorted({*self._base.photos.digests(), *self._base.protocols.digests()} - redacted)

    def open_photo(self, digest: str) -> BinaryIO:
        store = self._base.photos if self._base.photos.has(digest) else self._base.protocols
        return store.open(digest)


def meet(
    base: Base,
    wire: Wire,
    *,
    address: str,
    after: int = 0,
    full: bool = False,
    told: Callable[[int, int], None] = lambda _done, _of: None,
) -> Met:
    """Exchange everything with the base at the other end.

    Args:
        address: what it is called in what is told.
        after: how far its ledger was fetched before: a hint.
        full: compare every digest, for who does not trust sums.
        told: is called with how much of how much is done.

    Raises:
        BaseError: it is of another programme; nothing was exchanged.
        ExchangeError: it broke off; what was acknowledged is there on either side.
    """
    hello = asked(wire, "GET", "hello")
    if hello["programme"] != base.programme:
        theirs = hello["programme_name"]
        raise BaseError.of("base.other_programme", file=address, theirs=theirs, ours=base.programme_name)
    fetching = _Fetching(base, wire, hello["base"], told)
    holding = BaseHolding(base)
    differ = holding.summaries().keys() if full else fetching.differing()
    gave = hand_in(wire, holding, differ=differ, told=told)
    after = fetching.fetch(0 if full else after) if full or differ else after
    if differ and not full and fetching.differing():  # the hint was wrong: that base was restored, say
        after = fetching.fetch(0)
    left = fetching.differing()
    content = fetching.fetch_content()
    faults = [*gave.faults, *fetching.faults, *([Fault("exchange.still_differ", {"n": len(left)})] if left else [])]
    took = Merged(address, len(fetching.new), fetching.known, fetching.by_session(), {}, content, tuple(faults[:_MOST_FAULTS]))
    return Met(took, gave, after)


class _Fetching:
    """Taking in what another base holds."""

    def __init__(self, base: Base, wire: Wire, other: str, told: Callable[[int, int], None]) -> None:
        self._base = base
        self._wire = wire
        self._peer = Peer(other, BASE)
        self._exchange = Exchange(base)
        self._told = told
        self.new: dict[str, str] = {}
        """Session by digest of what was new."""
        self.known = 0
        self.faults: list[Fault] = []

    def differing(self) -> set[str]:
        """Sessions of which the two bases do not hold the same."""
        with self._base.glance() as view:
            ours = view.ledger.summaries()
        groups = {prefix: [one.n, one.sum] for prefix, one in grouped(ours).items()}
        prefixes = asked(self._wire, "POST", "compare", {"prefixes": groups})["differ"]
        if not prefixes:
            return set()
        said = asked(self._wire, "POST", "sessions", {"prefixes": prefixes})["sessions"]
        theirs = {id_: Summary(*one) for id_, one in said.items()}
        ours = {id_: one for id_, one in ours.items() if id_[:4] in set(prefixes)}
        return {id_ for id_ in ours.keys() | theirs.keys() if ours.get(id_) != theirs.get(id_)}

    def fetch(self, after: int) -> int:
        """Take in what arrived there after a place. Returns the place to go on from."""
        while True:
            answer = self._wire.ask("GET", f"entries?after={after}")
            if not answer.is_good:
                raise refusal(answer)
            if answer.body:
                self._take(answer.body)
            next_ = int(answer.headers["next-after"])
            if next_ <= after:
                return after
            after = next_
            self._told(len(self.new), 0)

    def _take(self, body: bytes) -> None:
        lines = body.splitlines(keepends=True)
        before = self._sessions_of(lines)
        taken = self._exchange.take(self._peer, body)
        self.new |= {digest: session for digest, session in self._sessions_of(lines).items() if digest not in before}
        self.known += len(before)
        self.faults += [Fault("exchange.line_refused", {"digest": one.digest, "why": one.why.text()}) for one in taken.refused]

    def _sessions_of(self, lines: Iterable[bytes]) -> dict[str, str]:
        """Session by digest of those of these lines that are here."""
        with self._base.glance() as view:
            here: list[Entry] = view.ledger.with_digests([line[:64].decode("ascii", "replace") for line in lines])
        return {entry.digest: entry.session for entry in here}

    def by_session(self) -> Mapping[str, int]:
        found: dict[str, int] = {}
        for session in self.new.values():
            found[session] = found.get(session, 0) + 1
        return found

    def fetch_content(self) -> int:
        """Photos and protocol files that are promised here and held there. Returns how many came."""
        wanted = [digest for digest in self._promised() if self._exchange.file_of(digest) is None]
        came = 0
        for done, digest in enumerate(wanted, 1):
            answer = self._wire.ask("GET", f"photos/{digest}")
            self._told(done, len(wanted))
            if answer.status == _NOT_FOUND:
                continue  # still out on a phone
            if not answer.is_good:
                raise refusal(answer)
            if sha256(answer.body) != digest:
                self.faults.append(Fault("photos.wrong_digest", {"said": digest, "true": sha256(answer.body)}))
            else:
                came += self._exchange.keep_file(BytesIO(answer.body), digest)
        return came

    def _promised(self) -> list[str]:
        with self._base.view() as view:
            redacted = view.redacted()
            photos = {row["photo"] for row in view.rows("SELECT photo FROM photo")}
            protocols = {said.get("digest") for said in view.things("protocol").values()}
            protocols |= {row["protocol"] for row in view.rows("SELECT DISTINCT protocol FROM session")}
        return sorted({digest for digest in photos | protocols if isinstance(digest, str)} - redacted)
