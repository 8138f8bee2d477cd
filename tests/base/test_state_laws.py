"""Whatever people say, and in whatever order a base hears of it: its state follows from what it heard, and from nothing else.

A machine lets things happen. After every step the base that heard of something proves itself (`Base.check` computes the state
from nothing and compares it byte for byte), and in the end all bases that heard the same are in the same state.
"""

from __future__ import annotations

from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from fieldkit.ledger import Entry
from fieldkit.settle.fold import FATES
from tests.base.world import DAYS, PLOTS, TAGS, World, accounts, digest
from tests.support.programme import Book, name

HOWS = (
    *({"tag": tag} for tag in TAGS),
    *({"coral": name("coral", tag)} for tag in ("101", "201", "777")),
    {"position": "1"},
    {},
)
days, plots, hows = st.sampled_from(DAYS), st.sampled_from(PLOTS), st.sampled_from(HOWS)
statuses = st.sampled_from(("alive", "alive", "dead", "missing", "asleep"))
whose = st.randoms(use_true_random=False)


class Programme(RuleBasedStateMachine):
    """Everything that is said, and two bases that hear some of it."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = TemporaryDirectory()
        self.world = World(Path(self._folder.name))
        self.heard: list[set[str]] = [set(), set()]
        self.touched: set[int] = set()

    def teardown(self) -> None:
        with self._folder:
            for base in self.world.bases:
                base.keep_protocol(self.world.protocol.body)
                base.receive(self.world.said, source="teardown")
                assert base.check() == []
            fresh = self.world.fresh(self.world.said, protocols=[self.world.protocol])
            assert {digest(base) for base in self.world.bases} == {digest(fresh)}

    # what people say

    @rule(day=days, here=st.booleans(), plot=plots, hows=st.lists(hows, min_size=1, max_size=5), status=statuses)
    def dive(self, day: str, here: bool, plot: str, hows: list[dict[str, str]], status: str) -> None:
        site = self.world.reef.site if here else self.world.other_site
        book = self.world.dive(day, site)
        for how in hows:
            self.world.see(book, plot, how, status, size_cm="12")

    @rule(
        day=days, alive=st.integers(7, 11), part=st.sampled_from(({}, {"part": "1", "parts": "2"}, {"part": "2", "parts": "2"}))
    )
    def count(self, day: str, alive: int, part: dict[str, str]) -> None:
        self.world.count(self.world.dive(day, self.world.reef.site), alive, **part)

    @rule(day=days, values=st.sampled_from(({"practice": "true"}, {"import": "e" * 64}, {"visit": "spring"}, {"day": "soon"})))
    def dive_apart(self, day: str, values: dict[str, str]) -> None:
        book = self.world.dive(**{"day": day, "site": self.world.reef.site, **values})
        self.world.see(book, "A", {"tag": "101"}, "dead")

    @rule(dice=whose, day=days)
    def type_a_slate_twice(self, dice: Random, day: str) -> None:
        site, recorder = self.world.reef.site, {"recorder": "EA"}
        for _ in range(2):
            book = self.world.open_book(day=day, site=site, protocol=self.world.protocol.digest, **recorder)
            for plot, tag in (("A", "101"), ("A", "102"), ("B", "201"), ("B", "202")):
                self.world.see(book, plot, {"tag": tag}, "alive", size_cm=f"{dice.choice((12, 13))}.5", note=f"by {tag}")

    @rule(dice=whose, status=statuses, how=hows, by=st.sampled_from(("own", "crew", "lead")))
    def correct(self, dice: Random, status: str, how: dict[str, str], by: str) -> None:
        for entry in self._one_of(dice, "observation"):
            values = {**entry.values, **how, "status": status}
            self._author(entry, by).say("observation", values, [entry.digest])

    @rule(dice=whose, by=st.sampled_from(("own", "lead", "crew")))
    def retract(self, dice: Random, by: str) -> None:
        for entry in self._one_of(dice, "observation", "ruling", "planting", "tag", "coral", "boat_day", "session", "photo"):
            self._author(entry, by).say("retract", {}, [entry.digest])

    @rule(dice=whose, day=days, here=st.booleans(), by=st.sampled_from(("own", "lead")))
    def correct_a_session(self, dice: Random, day: str, here: bool, by: str) -> None:
        for entry in self._one_of(dice, "session"):
            site = self.world.reef.site if here else self.world.other_site
            self._author(entry, by).say("session", {**entry.values, "day": day, "site": site}, [entry.digest])

    @rule(plot=plots, tag=st.sampled_from(TAGS), by=st.sampled_from(("lead", "crew")), day=st.sampled_from((None, *DAYS)))
    def register_a_coral(self, plot: str, tag: str, by: str, day: str | None) -> None:
        book = self.world.open_book(role=by)
        coral = {"coral": name("coral", tag), "plot": self.world.reef.plot(plot), "planted_on": "2024-02-01"}
        book.say("coral", coral)
        book.say("tag", {"coral": name("coral", tag), "tag": tag, **({"from": day} if day else {})})

    @rule(plot=plots, here=st.booleans())
    def move_a_plot(self, plot: str, here: bool) -> None:
        entry = next(e for e in self.world.of_kinds("plot") if e.values["name"] == plot)
        site = self.world.reef.site if here else self.world.other_site
        self.world.open_book(role="lead").say("plot", {**entry.values, "site": site}, [entry.digest])

    @rule(called=st.sampled_from(("Amo", "Bako", "Cape")), here=st.booleans())
    def rename_a_site(self, called: str, here: bool) -> None:
        site = self.world.reef.site if here else self.world.other_site
        self.world.open_book(role="lead").say("site", {"site": site, "name": called})

    @rule(day=days, here=st.booleans())
    def take_out_a_boat(self, day: str, here: bool) -> None:
        site = self.world.reef.site if here else self.world.other_site
        self.world.open_book(role="lead").say("boat_day", {"boat_day": name("boat day", day), "day": day, "site": site})

    @rule(dice=whose, tag=st.sampled_from(TAGS), day=days)
    def hang_a_new_tag(self, dice: Random, tag: str, day: str) -> None:
        book = self.world.dive(day, self.world.reef.site)
        coral = name("coral", dice.choice(("101", "102", "201")))
        book.say("action", {"row": name("row", book.session, 1), "coral": coral, "done": "new tag", "tag": tag})

    @rule(dice=whose)
    def take_back_an_import(self, dice: Random) -> None:
        self.world.open_book(role=dice.choice(("lead", "crew"))).say("retract", {"import": "e" * 64})

    @rule(dice=whose, photo=st.sampled_from("ab"))
    def photograph(self, dice: Random, photo: str) -> None:
        for entry in self._one_of(dice, "observation"):
            said = {"row": entry.values.get("row"), "photo": photo * 64, "bytes": 3, "type": "image/jpeg"}
            self._author(entry, "own").say("photo", said)

    @rule(dice=whose, here=st.booleans(), day=days)
    def rule_on_a_matter(self, dice: Random, here: bool, day: str) -> None:
        with self.world.bases[here].view() as view:
            matters = [matter for matter in view.matters(settled=True) if matter.answers]
        for matter in dice.sample(matters, min(1, len(matters))):
            keys = {
                "use": {"fields": {n: dice.choice([*map(str, said.values()), "dead"]) for n, said in matter.fields.items()}},
                "place": {"coral": name("coral", dice.choice(("101", "102", "201"))), "observation": dice.choice(matter.of)},
                "day": {"day": day},
                "site": {"site": dice.choice((self.world.reef.site, self.world.other_site))},
                "same_slate": {"keep": dice.choice(matter.of)},
            }
            answer = dice.choice(matter.answers)
            earlier = [e.digest for e in self.world.of_kinds("ruling") if e.values["of"] == sorted(matter.of)]
            self.world.rule(matter.kind, matter.of, answer, earlier * dice.choice((0, 1)), **keys.get(answer, {}))

    @rule(dice=whose, kind=st.sampled_from(("double", "tag", "history", "date", "same_slate", "size")))
    def rule_on_anything(self, dice: Random, kind: str) -> None:
        entries = dice.sample(self.world.said, min(2, len(self.world.said)))
        of = {dice.choice((entry.digest, entry.session)) for entry in entries}
        self.world.rule(kind, sorted(of), dice.choice(("set_aside", "both_stand", "stands")))

    @rule(dice=whose)
    def continue_a_session_twice(self, dice: Random) -> None:
        for entry in self._one_of(dice, "observation"):
            book = next(book for book in self.world.books if book.session == entry.session)
            device = dice.choice((book.device, name("device", "stolen")))
            self.world.forge(book, entry.seq, "observation", {**entry.values, "status": "dead"}, device)

    @rule(dice=whose)
    def redact(self, dice: Random) -> None:
        photos = [entry.values["photo"] for entry in self.world.of_kinds("photo")]
        named = [dice.choice([entry.digest for entry in self.world.said] + photos) for _ in range(2)]
        self.world.open_book(role=dice.choice(("lead", "lead", "crew"))).say("redact", {"of": sorted(named)})

    @rule(dice=whose)
    def say_what_nobody_understands(self, dice: Random) -> None:
        book = dice.choice(self.world.books)
        book.say("forecast", {"wind": "calm"})

    # how bases hear of it

    @rule(here=st.booleans(), dice=whose, many=st.booleans())
    def hand_in(self, here: bool, dice: Random, many: bool) -> None:
        waiting = [entry for entry in self.world.said if entry.digest not in self.heard[here]]
        dice.shuffle(waiting)
        self._hear(here, waiting if many else waiting[: 1 + len(waiting) // 3])

    @rule(here=st.booleans(), dice=whose)
    def hand_in_again(self, here: bool, dice: Random) -> None:
        known = sorted(self.heard[here])
        again = set(dice.sample(known, len(known) // 2))
        self._hear(here, [entry for entry in self.world.said if entry.digest in again])

    @rule(here=st.booleans())
    def protocol_arrives(self, here: bool) -> None:
        self.world.bases[here].keep_protocol(self.world.protocol.body)
        self.touched.add(here)

    @rule(here=st.booleans())
    def merge(self, here: bool) -> None:
        self.world.carry(self.world.bases[not here], self.world.bases[here])
        self.heard[here] |= self.heard[not here]
        self.touched.add(here)

    def _hear(self, here: bool, entries: list[Entry]) -> None:
        self.world.bases[here].receive(entries, source="a device")
        self.heard[here] |= {entry.digest for entry in entries}
        self.touched.add(here)

    # what must hold

    @invariant()
    def the_state_is_what_follows_from_the_ledger(self) -> None:
        for i in self.touched:
            assert self.world.bases[i].check() == []

    @invariant()
    def every_observation_has_one_fate(self) -> None:
        for i in self.touched:
            with self.world.bases[i].view() as view:
                fates, observations = accounts(view)
                assert fates == observations
                assert view.fates().keys() <= set(FATES)
        self.touched.clear()

    def _one_of(self, dice: Random, *kinds: str) -> list[Entry]:
        entries = self.world.of_kinds(*kinds)
        return [dice.choice(entries)] if entries else []

    def _author(self, entry: Entry, by: str) -> Book:
        if by == "own":
            return next(book for book in self.world.books if book.session == entry.session)
        return self.world.open_book(role=by)


# Without shrinking, which takes minutes on real bases: add `Phase.shrink` when a failure is too long to read.
Programme.TestCase.settings = settings(
    max_examples=20,
    stateful_step_count=35,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
TestProgramme = Programme.TestCase
