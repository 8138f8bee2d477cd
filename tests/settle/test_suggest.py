"""Which coral a misread tag was meant for, how surely, and why."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.settle.suggest import Candidate, Misread, Spread, Suggestion, suggest

SIZE = {"size_cm": Spread(change=2, around_change=1, middle=15, around_middle=6)}


def meant(noted: str, *worn: str, **said: Any) -> Suggestion | None:
    """What is suggested for one reading, the corals with these tags not having been read."""
    return suggest([Misread("m", "d", noted, **said)], [Candidate(tag, tag) for tag in worn], SIZE).get("m")


def coral(noted: str, *worn: str, **said: Any) -> str | None:
    found = meant(noted, *worn, **said)
    return found.coral if found else None


@pytest.mark.parametrize(
    ("noted", "worn", "why"),
    [
        ("8107", "B107", "alike"),
        ("B1O7", "B107", "alike"),
        ("BI07", "B107", "alike"),
        ("B10S", "B105", "alike"),
        ("B10G", "B106", "alike"),
        ("b1b3", "B183", "alike"),
        ("B170", "B107", "swapped"),
        ("B1?7", "B107", "unreadable"),
        ("..07", "B107", "unreadable"),
    ],
)
def test_a_slip_that_crews_know_is_recognised_and_named(noted: str, worn: str, why: str) -> None:
    found = meant(noted, worn, "B234", "B245")
    assert found is not None
    assert (found.coral, f"settle.because_{why}" in found.why) == (worn, True)


def test_a_glyph_left_out_is_recognised() -> None:
    assert coral("B17", "B107", "B234") == "B107"


def test_nothing_is_suggested_for_a_tag_that_resembles_none() -> None:
    assert coral("X999", "B107", "B234") is None


def test_nothing_is_suggested_where_every_coral_was_read() -> None:
    assert suggest([Misread("m", "d", "B1O7")], []) == {}


def test_a_clear_slip_is_nearly_certain_and_never_quite() -> None:
    found = meant("B1O7", "B107", "B234")
    assert found is not None
    assert 0.95 < found.probability < 1


def test_of_two_that_fit_alike_neither_is_certain_and_both_are_named() -> None:
    found = meant("B1?7", "B107", "B117", "B234")
    assert found is not None
    assert found.probability < 0.55
    assert "settle.because_tie" in found.why
    assert {found.data["tag"], found.data["other"]} == {"B107", "B117"}


def test_no_coral_is_suggested_twice() -> None:
    readings = [Misread("one", "1", "B1O7"), Misread("other", "2", "B1?7")]
    found = suggest(readings, [Candidate("B107", "B107"), Candidate("B117", "B117")])
    assert {matter: one.coral for matter, one in found.items()} == {"one": "B107", "other": "B117"}


@pytest.mark.parametrize("order", [1, -1])
def test_the_order_of_readings_and_corals_does_not_matter(order: int) -> None:
    readings = [Misread("one", "1", "B1O7"), Misread("other", "2", "B2?4")][::order]
    found = suggest(readings, [Candidate(tag, tag) for tag in ("B107", "B204", "B234")][::order])
    assert {matter: one.coral for matter, one in sorted(found.items())}["one"] == "B107"


# What speaks beside the tag.


def between(*places: float) -> tuple[Candidate, ...]:
    return tuple(Candidate(f"at {place}", f"T{place:g}", place=place) for place in places)


def test_a_reading_between_two_known_neighbours_is_the_coral_that_stands_there() -> None:
    corals = [Candidate("far", "B117", place=8), Candidate("there", "B107", place=3)]
    found = suggest([Misread("m", "d", "B1?7", beside=between(2, 4))], corals)["m"]
    assert (found.coral, "settle.because_between" in found.why) == ("there", True)
    assert (found.data["before"], found.data["after"]) == ("T2", "T4")


def test_a_plot_swum_the_other_way_round_tells_as_much() -> None:
    corals = [Candidate("far", "B117", place=8), Candidate("there", "B107", place=3)]
    assert suggest([Misread("m", "d", "B1?7", beside=between(4, 2))], corals)["m"].coral == "there"


def test_beside_one_known_neighbour_the_nearer_coral_is_likelier() -> None:
    corals = [Candidate("far", "B117", place=8), Candidate("near", "B107", place=3)]
    assert suggest([Misread("m", "d", "B1?7", beside=between(2))], corals)["m"].coral == "near"


@pytest.mark.parametrize(
    ("said", "known"),
    [
        ({"position": "7"}, {"position": "7"}),
        ({"genotype": "G1"}, {"genotype": "G1"}),
        ({"numbers": {"size_cm": 14.0}}, {"numbers": {"size_cm": 12.0}}),
    ],
)
def test_what_else_was_noted_tells_two_like_tags_apart(said: Any, known: Any) -> None:
    other = {"position": "1", "genotype": "G2", "numbers": {"size_cm": 30.0}}
    corals = [Candidate("other", "B117", **{name: other[name] for name in known}), Candidate("meant", "B107", **known)]
    assert suggest([Misread("m", "d", "B1?7", **said)], corals, SIZE)["m"].coral == "meant"


def test_a_coral_found_dead_before_is_hardly_the_one_that_is_alive() -> None:
    corals = [Candidate("dead", "B117", state="dead"), Candidate("alive", "B107", state="alive")]
    assert suggest([Misread("m", "d", "B1?7", state="alive")], corals)["m"].coral == "alive"


def test_a_number_of_which_nobody_knows_how_it_keeps_says_nothing() -> None:
    corals = [Candidate("one", "B117", numbers={"depth_m": 3.0}), Candidate("other", "B107", numbers={"depth_m": 9.0})]
    found = suggest([Misread("m", "d", "B1?7", numbers={"depth_m": 9.0})], corals, SIZE)["m"]
    assert found.probability == pytest.approx(0.5, abs=0.01)


def test_a_wild_number_does_not_outweigh_a_clear_tag() -> None:
    corals = [Candidate("meant", "B107", numbers={"size_cm": 12.0}), Candidate("other", "B234", numbers={"size_cm": 60.0})]
    assert suggest([Misread("m", "d", "B1O7", numbers={"size_cm": 60.0})], corals, SIZE)["m"].coral == "meant"


# A tag that stands twice.


def twice(first: float, second: float) -> dict[str, Suggestion]:
    """B107, 20 cm when it was last measured, stands twice with these sizes; B108, 10 cm then, was not read."""
    own = Candidate("B107", "B107", numbers={"size_cm": 20.0})
    readings = [
        Misread("m", digest, "B107", numbers={"size_cm": size}, anothers=own)
        for digest, size in (("first", first), ("second", second))
    ]
    return suggest(readings, [Candidate("B108", "B108", numbers={"size_cm": 10.0})], SIZE)


@pytest.mark.parametrize(("sizes", "digest"), [((22, 12), "second"), ((12, 22), "first")])
def test_of_a_tag_that_stands_twice_the_reading_that_fits_the_unread_coral_is_named(
    sizes: tuple[float, float], digest: str
) -> None:
    found = twice(*sizes)["m"]
    assert (found.coral, found.digest) == ("B108", digest)


def test_of_two_readings_that_both_fit_the_coral_they_name_none_is_suggested_for_another() -> None:
    assert twice(22, 22.5) == {}


def beside(tag: str, plot: str = "B", *, read_there: bool | None = None) -> Candidate:
    """A coral of the plot next door."""
    return Candidate(f"{plot} {tag}", tag, elsewhere=plot, read_there=read_there)


def test_a_tag_of_the_plot_next_door_may_be_right_and_the_plot_wrong() -> None:
    found = suggest([Misread("m", "d", "B211")], [Candidate("B107", "B107"), beside("B211")])["m"]
    assert (found.coral, found.why, found.data["plot"]) == ("B B211", ("settle.because_elsewhere",), "B")


def test_a_slip_that_leads_to_an_unread_coral_of_the_plot_is_likelier_than_the_wrong_plot() -> None:
    found = suggest([Misread("m", "d", "B1O7")], [Candidate("B107", "B107"), beside("B1O7", read_there=True)])["m"]
    assert (found.coral, found.probability > 0.9) == ("B107", True)


def test_where_several_rows_name_corals_of_one_other_plot_they_were_read_there() -> None:
    readings = [Misread(f"m{place}", f"d{place}", f"B21{place}") for place in range(3)]
    absent = [Candidate(f"B27{place}", f"B27{place}") for place in range(3)]  # 1 and 7 are taken for each other
    there = [beside(f"B21{place}") for place in range(3)]
    assert {one.coral for one in suggest(readings, [*absent, *there]).values()} == {one.coral for one in there}


def test_a_coral_that_nobody_read_in_its_own_plot_is_likelier_to_be_meant() -> None:
    def likely(read_there: bool | None) -> float:
        found = suggest([Misread("m", "d", "B211")], [Candidate("B277", "B277"), beside("B211", read_there=read_there)])
        return found["m"].probability

    assert likely(read_there=False) > likely(read_there=None) > likely(read_there=True)


def test_a_tag_that_corals_of_many_plots_wear_points_to_none_of_them() -> None:
    assert suggest([Misread("m", "d", "11")], [beside("11", plot) for plot in "BCDE"]) == {}
