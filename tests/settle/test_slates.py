"""One paper slate typed twice, told apart from two people who looked; and what becomes of its rows."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fieldkit.settle.calendar import Dive
from fieldkit.settle.histories import Interval
from fieldkit.settle.slates import THRESHOLD, Again, Rows, Slates, evidence, settled_slates, sharing, typed_twice
from tests.support.plot import MONITORING, Plot, life, matters, open_kinds, the_matter

KAI = Dive("kai", "amo", date(2024, 6, 1), "2024-06-01", MONITORING(), practice=False, recorder="KA")
NOA = replace(KAI, id="noa", recorder="NO")
AGAIN = replace(KAI, id="again")


def slate(seed: int, rows: int = 20) -> dict[str, dict[str, Any]]:
    """What one diver puts down who measures what lives."""
    dice = random.Random(seed)
    return {
        f"A {tag}": {
            "status": "alive",
            "bleaching": dice.choice(["none", "none", "none", "pale"]),
            "size_cm": f"{dice.uniform(8, 30):.1f}",
            "live_tissue": f"{dice.choice([70, 80, 90, 95, 100])}",
        }
        for tag in range(rows)
    }


def seen_again(rows: Rows, seed: int, error: float = 0.7) -> dict[str, dict[str, Any]]:
    """What another diver puts down who measures the same corals."""
    dice = random.Random(seed)
    return {
        coral: {**values, "size_cm": f"{float(values['size_cm']) + dice.gauss(0, error):.1f}"} for coral, values in rows.items()
    }


def test_one_slate_typed_twice_is_found() -> None:
    assert evidence(slate(1), slate(1), (KAI, AGAIN)) >= THRESHOLD


@pytest.mark.parametrize("errors", [1, 2, 3])
def test_keying_errors_do_not_hide_a_slate_typed_twice(errors: int) -> None:
    typed = slate(1)
    for coral in list(typed)[:errors]:
        typed[coral] = typed[coral] | {"size_cm": "1"}
    assert evidence(slate(1), typed, (KAI, AGAIN)) >= THRESHOLD


@pytest.mark.parametrize("seed", range(20))
def test_two_divers_on_one_plot_are_no_slate_typed_twice(seed: int) -> None:
    assert evidence(slate(seed), seen_again(slate(seed), 100 + seed), (KAI, NOA)) < 0


@pytest.mark.parametrize("seed", range(20))
def test_two_dives_of_one_diver_on_one_plot_are_no_slate_typed_twice(seed: int) -> None:
    assert evidence(slate(seed), seen_again(slate(seed), 100 + seed, error=0.3), (KAI, AGAIN)) < THRESHOLD


def test_two_who_found_every_coral_well_are_no_slate_typed_twice() -> None:
    well = {f"A {tag}": dict(MONITORING().all_well) for tag in range(300)}
    assert evidence(well, well, (KAI, AGAIN)) < THRESHOLD


def test_two_who_found_the_same_corals_dead_are_no_slate_typed_twice() -> None:
    dead = {f"A {tag}": {"status": "dead", "cause": "heat"} for tag in range(30)}
    assert evidence(dead, dead, (KAI, NOA)) < THRESHOLD


def test_the_same_words_in_a_note_speak_for_one_slate() -> None:
    rows = {f"A {tag}": {"status": "alive", "note": f"words {tag}"} for tag in range(4)}
    assert evidence(rows, rows, (KAI, AGAIN)) >= THRESHOLD


def test_another_day_speaks_against_one_slate() -> None:
    another = replace(AGAIN, day=date(2024, 6, 2))
    assert evidence(slate(1), slate(1), (KAI, another)) < evidence(slate(1), slate(1), (KAI, AGAIN))


def test_evidence_is_the_same_from_either_side() -> None:
    one, other = slate(1), seen_again(slate(1), 2)
    assert evidence(one, other, (KAI, NOA)) == evidence(other, one, (NOA, KAI))


def test_sessions_that_share_few_rows_are_not_compared() -> None:
    assert sharing({"a": {"1", "2", "3", "4"}, "b": {"1", "2", "3"}, "c": {"1", "2", "3", "4", "5"}}) == [("a", "c")]


def test_only_the_pairs_that_look_like_one_slate_are_asked_about() -> None:
    rows = {"again": slate(1), "kai": slate(1), "noa": seen_again(slate(1), 2)}
    assert typed_twice(sharing(rows), rows, {"again": AGAIN, "kai": KAI, "noa": NOA}) == [("again", "kai")]


# What is settled of pairs.


def test_of_a_slate_typed_again_the_other_session_stays() -> None:
    assert settled_slates([("a", "b", "b", "ruling")]) == Slates(again={"b": Again("a", "ruling")})


def test_a_pair_without_a_ruling_is_open() -> None:
    assert settled_slates([("a", "b", None, None)]) == Slates(open=frozenset({frozenset({"a", "b"})}))


def test_of_a_slate_typed_three_times_one_typing_stays() -> None:
    found = settled_slates([("a", "b", "b", "one"), ("b", "c", "c", "two")])
    assert {session: again.session for session, again in found.again.items()} == {"b": "a", "c": "a"}


def test_rulings_that_go_in_a_ring_leave_one_typing() -> None:
    found = settled_slates([("a", "b", "a", "one"), ("a", "c", "c", "two"), ("b", "c", "b", "three")])
    assert {session: again.session for session, again in found.again.items()} == {"b": "a", "c": "a"}


# The rows of a slate typed twice.


def of(plot: Plot, *, kept: int | None = None) -> Slates:
    """The two sessions as one slate: open, or with the one that was kept."""
    sessions = [entry.session for entry in plot.said]
    if kept is None:
        return Slates(open=frozenset({frozenset(sessions)}))
    return Slates(again={sessions[1 - kept]: Again(sessions[kept], "the ruling")})


def twice(one: dict[str, Any], other: dict[str, Any]) -> tuple[Plot, list[str]]:
    plot = Plot()
    return plot, [plot.see(plot.dive(called), "101", **values) for called, values in (("kai", one), ("noa", other))]


def test_while_a_slate_typed_twice_is_open_its_rows_are_not_asked_about_one_by_one() -> None:
    plot, _ = twice({"size_cm": "12"}, {"size_cm": "21"})
    assert open_kinds(plot.settle(of(plot))) == []


def test_while_a_slate_typed_twice_is_open_a_state_that_differs_does_not_count() -> None:
    plot, seen = twice({"status": "alive"}, {"status": "dead"})
    settled = plot.settle(of(plot))
    assert (life(settled).visits[0].state, settled.fates) == (None, dict.fromkeys(sorted(seen), "in a matter"))


def test_of_a_slate_typed_twice_the_kept_typing_counts() -> None:
    plot, seen = twice({"size_cm": "12"}, {"size_cm": "21"})
    settled = plot.settle(of(plot, kept=0))
    assert life(settled).visits[0].values["size_cm"] == "12"
    assert [settled.fates[digest] for digest in seen] == ["counted", "agrees with a counted one"]


def test_a_row_of_the_other_typing_with_another_state_is_overruled() -> None:
    plot, seen = twice({"status": "alive"}, {"status": "dead"})
    settled = plot.settle(of(plot, kept=0))
    assert [settled.fates[digest] for digest in seen] == ["counted", "overruled"]


def test_a_row_that_differs_is_a_keying_error_settled_by_the_ruling_on_the_slate() -> None:
    plot, seen = twice({"size_cm": "12"}, {"size_cm": "21"})
    matter = the_matter(plot.settle(of(plot, kept=0)), "double")
    assert (matter.of, matter.ruling, matter.why.key) == (tuple(sorted(seen)), "the ruling", "settle.mistyped")


def test_a_lead_may_still_use_the_other_typing_of_a_row() -> None:
    plot, seen = twice({"size_cm": "12"}, {"size_cm": "21"})
    plot.rule("double", seen, "use", fields={"size_cm": "21"})
    assert life(plot.settle(of(plot, kept=0))).visits[0].values["size_cm"] == "21"


def test_the_state_of_the_other_typing_may_be_used_too() -> None:
    plot, seen = twice({"status": "alive"}, {"status": "dead"})
    plot.rule("double", seen, "use", fields={"status": "dead"})
    settled = plot.settle(of(plot, kept=0))
    assert (life(settled).settled.lost, [settled.fates[digest] for digest in seen]) == (
        Interval(0, 92),
        ["overruled", "counted"],
    )


def test_a_row_that_the_kept_typing_left_out_counts() -> None:
    plot, _ = twice({}, {})
    extra = plot.see(plot.said[1].session, "102", "dead")
    settled = plot.settle(of(plot, kept=0))
    assert (settled.fates[extra], life(settled, "102").settled.lost) == ("counted", Interval(0, 92))


def test_a_third_session_is_compared_with_the_kept_typing_alone() -> None:
    plot, seen = twice({"size_cm": "12"}, {"size_cm": "21"})
    third = plot.see(plot.dive("mei"), "101", size_cm="22")
    (asked,) = [matter for matter in matters(plot.settle(of(plot, kept=0)), "double") if matter.is_open]
    assert asked.of == tuple(sorted((seen[0], third)))
