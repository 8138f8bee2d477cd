"""However copies of a programme meet: three phones, two bases and a card, against a model that is a plain set.

The model knows what each base acknowledged and what each phone holds. After every step, what was acknowledged is held. At the
end one round brings everything to every base, the bases agree byte for byte, and another round changes nothing.
"""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path
from shutil import rmtree
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from fieldkit.backup import back_up, restore
from fieldkit.base import Statement
from fieldkit.errors import FieldkitError
from fieldkit.exchange import ExchangeError, meet
from fieldkit.ledger import derived_id
from tests.base.world import digest
from tests.exchange.devices import Phone, Station, Way, held
from tests.support.programme import Reef, base_of

PHONES, BASES = st.integers(0, 2), st.integers(0, 1)
HOME = (0, 0, 1)
"""The base that each phone is paired with."""
YEAR_MS = 365 * 24 * 60 * 60 * 1000


class Copies(RuleBasedStateMachine):
    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="copies-"))
        self.numbers = itertools.count()
        self.reef = Reef({"A": 2})
        self.stations = [
            Station(base_of(self.folder / called, self.reef.entries(), [self.reef.protocol])) for called in ("one", "other")
        ]
        self.between = [station.paired("base", "another base")[1] for station in self.stations]
        self.acknowledged = [held(station.base) for station in self.stations]
        self.phones: list[Phone] = []
        self.tokens: list[str] = []
        for home in HOME:
            device, token = self.stations[home].paired("crew")
            self.phones.append(Phone(device))
            self.tokens.append(token)
        for phone in self.phones:
            self._open(phone)
        self.copies: dict[int, tuple[Phone, str]] = {}
        self.backups: dict[int, Path] = {}

    def teardown(self) -> None:
        if not hasattr(self, "folder"):
            return
        try:
            self._at_the_end_all_agree()
        finally:
            rmtree(self.folder)

    # what people do

    @rule(who=PHONES, tag=st.sampled_from(["101", "102", "999"]), status=st.sampled_from(["alive", "dead"]))
    def enter(self, who: int, tag: str, status: str) -> None:
        row = derived_id("row", str(next(self.numbers)))
        self.phones[who].say("observation", {"row": row, "plot": self.reef.plot("A"), "tag": tag, "status": status})

    @rule(who=PHONES, which=st.integers(0, 20))
    def correct(self, who: int, which: int) -> None:
        seen = [entry for entry in self.phones[who].entries.values() if entry.kind == "observation"]
        if seen:
            entry = seen[which % len(seen)]
            if entry.session == self.phones[who].session:
                self.phones[who].say("observation", {**entry.values, "status": "missing"}, [entry.digest])

    @rule(who=PHONES, size=st.sampled_from([5, 70_000, 1_100_000]))
    def photograph(self, who: int, size: int) -> None:
        self.phones[who].photograph(b"\xff\xd8\xff" + next(self.numbers).to_bytes(4, "big") + bytes(size))

    @rule(who=PHONES, years=st.integers(-60, 60))
    def turn_the_clock(self, who: int, years: int) -> None:
        self.phones[who].clock = max(0, 1_700_000_000_000 + years * YEAR_MS)

    @rule(where=BASES, answer=st.sampled_from(["use", "set_aside"]))
    def rule_on_the_first_matter(self, where: int, answer: str) -> None:
        base = self.stations[where].base
        with base.view() as view:
            matters = view.matters()
        if matters:
            said = {"matter": matters[0].kind, "of": sorted(matters[0].of), "answer": answer}
            self.acknowledged[where] |= {entry.digest for entry in base.say([Statement("ruling", said)])}

    # how it becomes known

    @rule(who=PHONES, cut=st.none() | st.integers(0, 60_000), lost=st.none() | st.integers(1, 8))
    def hand_in(self, who: int, cut: int | None, lost: int | None) -> None:
        way = self._way(who)
        way.bytes_left = cut
        way.lose_answer = lambda n: n == lost
        try:
            self._handed_in(who, way)
        except ExchangeError:
            assert cut is not None or lost is not None

    @rule(who=PHONES, order=st.randoms(use_true_random=False))
    def replay_in_any_order(self, who: int, order: Any) -> None:
        lines = [entry.line for entry in self.phones[who].entries.values() for _ in range(2)]
        order.shuffle(lines)
        answer = self._way(who).ask("POST", "entries", body=b"".join(lines[:500]))
        assert answer.is_good and answer.json()["refused"] == []
        self.acknowledged[HOME[who]] |= {line[:64].decode() for line in lines[:500]}

    @rule(here=BASES)
    def meet(self, here: int) -> None:
        there = 1 - here
        meet(self.stations[here].base, Way(self.stations[there], self.between[there]), address="there")
        both = self.acknowledged[0] | self.acknowledged[1]
        self.acknowledged = [both, set(both)]

    @rule(here=BASES, cut=st.none() | st.floats(0, 1))
    def carry(self, here: int, cut: float | None) -> None:
        card = self.folder / f"card {next(self.numbers)}.zip"
        self.stations[here].base.carry(card)
        if cut is not None:
            body = card.read_bytes()
            card.write_bytes(body[: int(cut * len(body))])
        try:
            self.stations[1 - here].base.merge(card)
        except FieldkitError:
            assert cut is not None
        if cut is None:
            self.acknowledged[1 - here] |= self.acknowledged[here]

    # what happens to machines

    @rule(who=PHONES)
    def copy_a_phone(self, who: int) -> None:
        self.copies[who] = self.phones[who].cloned(), self.tokens[who]

    @rule(who=PHONES)
    def put_a_copy_back(self, who: int) -> None:
        if who in self.copies:
            copy, self.tokens[who] = self.copies[who]
            self.phones[who] = copy.cloned()

    @rule(who=PHONES, first=st.integers(1, 2), second=st.integers(1, 2))
    def live_twice(self, who: int, first: int, second: int) -> None:
        """A phone goes on and hands in, is put back to where it was, and goes on from there."""
        copy = self.phones[who].cloned()
        for _ in range(first):
            self.enter(who, "101", "alive")
        self._handed_in(who, self._way(who))
        self.phones[who] = copy
        for _ in range(second):
            self.enter(who, "102", "dead")

    @rule(who=PHONES)
    def wipe_a_phone(self, who: int) -> None:
        device, self.tokens[who] = self.stations[HOME[who]].paired("crew")
        self.phones[who] = Phone(device)
        self._open(self.phones[who])
        self.copies.pop(who, None)

    @rule(where=BASES)
    def back_a_base_up(self, where: int) -> None:
        place = self.folder / f"stick {next(self.numbers)}"
        place.mkdir()
        self.backups[where] = back_up(self.stations[where].base, place).folder

    @rule(where=BASES)
    def put_a_backup_back(self, where: int) -> None:
        if where in self.backups:
            base = restore(self.backups[where], self.folder / f"restored {next(self.numbers)}")
            self.stations[where] = Station(base)
            self.acknowledged[where] = held(base)
            for who, home in enumerate(HOME):  # a phone that was paired since is not known any more: it pairs again
                if home == where and self.stations[where].access.device_of(self.tokens[who]) is None:
                    self.wipe_a_phone(who)

    # what must hold

    @invariant()
    def what_was_acknowledged_is_held(self) -> None:
        if hasattr(self, "stations"):
            for station, acknowledged in zip(self.stations, self.acknowledged, strict=True):
                assert acknowledged <= held(station.base)

    def _at_the_end_all_agree(self) -> None:
        for who in range(len(self.phones)):
            self._handed_in(who, self._way(who))  # a second time for the session that was opened upon a fork
            self._handed_in(who, self._way(who))
        self.meet(0)
        one, other = (station.base for station in self.stations)
        sealed = {name for phone in self.phones for name in phone.entries}
        photos = {name for phone in self.phones for name in phone.pictures}
        assert held(one) == held(other) >= sealed
        assert digest(one) == digest(other)
        assert set(one.photos.digests()) == set(other.photos.digests()) >= photos
        before = held(one), digest(one)
        self.meet(1)
        for who in range(len(self.phones)):
            assert self.phones[who].hand_in(self._way(who)).entries == 0
        assert (held(one), digest(one), held(other), digest(other)) == (*before, *before)
        assert one.check() == [] and other.check() == []

    def _open(self, phone: Phone) -> None:
        phone.open_session(site=self.reef.site, day="2024-06-01", protocol=self.reef.protocol.digest, recorder="EA")

    def _way(self, who: int) -> Way:
        return Way(self.stations[HOME[who]], self.tokens[who])

    def _handed_in(self, who: int, way: Way) -> None:
        phone, where = self.phones[who], HOME[who]
        before = set(phone.entries)
        done = phone.hand_in(way)
        assert done.refused == []
        self.acknowledged[where] |= before


TestCopies = Copies.TestCase
TestCopies.settings = settings(max_examples=8, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck))
