"""What holds for every plot, whatever was noted and ruled: Hypothesis looks for one that breaks it."""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.register.fold import Group
from fieldkit.settle.fold import FATES, Settled
from fieldkit.settle.slates import Again, Slates
from tests.support.plot import GENOTYPE, PLANTED, PLOT, Plot, coral, matters
from tests.support.programme import name

DAYS = ("2024-02-20", "2024-06-01", "2024-06-02", "2024-12-01")
DIVERS = ("kai", "noa")

few = settings(max_examples=50)  # each draws a whole plot

rows = st.fixed_dictionaries(
    {"tag": st.sampled_from(["101", "101", "101", "102", "1O1"])},
    optional={
        "status": st.sampled_from(["alive", "dead", "missing", "asleep"]),
        "searched": st.just("no"),
    },
)
sized = st.fixed_dictionaries({"tag": st.just("101"), "status": st.just("alive"), "size_cm": st.sampled_from(["10", "60"])})
counts = st.fixed_dictionaries(
    {"alive": st.sampled_from(["10", "8", "6", "many"])},
    optional={"part": st.sampled_from("12"), "parts": st.just("2"), "genotype": st.just(name("another"))},
)
noted = st.lists(st.tuples(st.sampled_from(DIVERS), st.sampled_from(DAYS), rows | sized | counts), max_size=10)
answers = st.sampled_from(["stands", "set_aside", "place", "use", "both_stand", "swap"])


@st.composite
def plots(draw: st.DrawFn) -> Plot:
    """A plot with slates, and rulings on what is then open: two rounds of them, as a lead would give."""
    plot = Plot(
        [coral("101"), coral("102", withdrawn_on="2024-06-01"), coral("103")],
        [Group(PLOT, GENOTYPE, ((PLANTED, 10),), None, ())],
    )
    for called, day, values in draw(noted):
        said = {**({} if "tag" in values else {"genotype": GENOTYPE}), **values}
        plot.see(plot.dive(called, day), said.pop("tag", None), said.pop("status", None), **said)
    for _ in range(draw(st.integers(0, 2))):
        for matter in plot.settle().matters:
            if matter.is_open and draw(st.booleans()):
                keys: dict[str, Any] = {
                    "fields": {field: draw(st.sampled_from(["alive", "dead", "8"])) for field in matter.fields}
                }
                keys |= {"observation": draw(st.sampled_from(matter.of)), "coral": draw(st.sampled_from(sorted(plot.corals)))}
                plot.rule(matter.kind, matter.of, draw(answers), **keys)
    return plot


@st.composite
def slates(draw: st.DrawFn, plot: Plot) -> Slates:
    pairs = list(combinations(sorted(plot.dives), 2))
    chosen = draw(st.lists(st.sampled_from(pairs), max_size=1)) if pairs else []
    if draw(st.booleans()):
        return Slates(open=frozenset(map(frozenset, chosen)))
    return Slates(again={other: Again(one, "the ruling") for one, other in chosen})


with_slates = plots().flatmap(lambda plot: st.tuples(st.just(plot), slates(plot)))


@few
@given(with_slates)
def test_every_observation_has_exactly_one_fate(given_: tuple[Plot, Slates]) -> None:
    plot, one_slate = given_
    fates = plot.settle(one_slate).fates
    assert fates.keys() == {entry.digest for entry in plot.said}
    assert set(fates.values()) <= set(FATES)


@few
@given(with_slates, st.randoms(use_true_random=False))
def test_the_order_of_entries_and_rulings_does_not_matter(given_: tuple[Plot, Slates], dice: Any) -> None:
    plot, one_slate = given_
    before = plot.settle(one_slate)
    dice.shuffle(plot.said)
    dice.shuffle(plot.rulings)
    assert plot.settle(one_slate) == before


@few
@given(plots())
def test_taking_every_ruling_back_gives_the_state_without_rulings(plot: Plot) -> None:
    ruled, plot.rulings = plot.rulings, []
    without = plot.settle()
    plot.rulings = ruled
    plot.settle()
    plot.rulings = []
    assert plot.settle() == without


@few
@given(plots())
def test_a_ruling_on_nothing_that_is_asked_changes_nothing(plot: Plot) -> None:
    before = plot.settle()
    plot.rule("double", [name("nothing")], "set_aside")
    assert plot.settle() == before


@few
@given(plots())
def test_no_two_matters_have_one_id(plot: Plot) -> None:
    assert max(Counter(matter.id for matter in plot.settle().matters).values(), default=1) == 1


@few
@given(with_slates)
def test_whatever_is_in_a_matter_is_named_by_an_open_one(given_: tuple[Plot, Slates]) -> None:
    plot, one_slate = given_
    settled = plot.settle(one_slate)
    asked = {digest for matter in settled.matters if matter.is_open for digest in matter.of}
    of_open_slates = {entry.digest for entry in plot.said if any(entry.session in pair for pair in one_slate.open)}
    waiting = {digest for digest, fate in settled.fates.items() if fate == "in a matter"}
    assert waiting <= asked | of_open_slates | _copies(plot, one_slate)


def _copies(plot: Plot, one_slate: Slates) -> set[str]:
    """Rows of a slate typed again: what they say is asked of the typing that was kept."""
    return {entry.digest for entry in plot.said if entry.session in one_slate.again}


@few
@given(plots())
def test_what_counts_is_of_a_coral_and_of_no_two(plot: Plot) -> None:
    settled = plot.settle()
    tagged = {entry.digest for entry in plot.said if "tag" in entry.values}
    for digest in tagged:
        if settled.fates[digest] in ("counted", "agrees with a counted one", "overruled"):
            assert settled.coral_of[digest] in plot.corals


@few
@given(plots())
def test_a_session_speaks_once_of_a_coral(plot: Plot) -> None:
    settled = plot.settle()
    session_of = {entry.digest: entry.session for entry in plot.said}
    spoken = Counter((session_of[digest], coral_) for digest, coral_ in settled.coral_of.items())
    assert max(spoken.values(), default=1) == 1


@few
@given(plots())
def test_settling_can_only_move_a_figure_where_something_is_open(plot: Plot) -> None:
    for one in plot.settle().lives:
        assert one.is_disputed or one.worst == one.settled == one.best


@few
@given(plots())
def test_answering_every_question_leaves_none_that_the_same_answer_could_settle(plot: Plot) -> None:
    """Setting aside always ends: a lead who answers so is not asked for ever."""
    for _ in range(12):
        asked = [matter for matter in plot.settle().matters if matter.is_open and "set_aside" in matter.answers]
        if not asked:
            break
        for matter in asked:
            plot.rule(matter.kind, matter.of, "set_aside")
            _only_the_last_ruling_stands(plot, matter.of)
    assert not [matter for matter in plot.settle().matters if matter.is_open and "set_aside" in matter.answers]


def _only_the_last_ruling_stands(plot: Plot, of: tuple[str, ...]) -> None:
    last = plot.rulings[-1]
    same = lambda one: (one.values["matter"], one.values["of"]) == (last.values["matter"], list(of))  # noqa: E731
    plot.rulings = [one for one in plot.rulings if one is last or not same(one)]


def test_the_laws_meet_every_kind_of_matter() -> None:
    """Were what Hypothesis draws too tame, its laws would hold of nothing."""
    found: set[str] = set()

    @settings(max_examples=200, database=None, derandomize=True)
    @given(plots())
    def look(plot: Plot) -> None:
        settled: Settled = plot.settle()
        found.update(kind for kind in ("double", "tag", "history", "size", "value", "count") if matters(settled, kind))

    look()
    assert found == {"double", "tag", "history", "size", "value", "count"}
