"""A ruling lies over what it names and replaces nothing: taken back, all is as before; it holds while exactly that is there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base, MatterRow
from fieldkit.ledger import Entry
from tests.base.world import World, digest, settled
from tests.support.programme import monitoring, name


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path)


def matters(base: Base, kind: str) -> list[MatterRow]:
    with base.view() as view:
        return [matter for matter in view.matters(settled=True) if matter.kind == kind]


def double(world: World, *statuses: str) -> list[Entry]:
    """What as many people saw of one coral on one visit."""
    return [world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "101"}, status) for status in statuses]


def heard(world: World) -> Base:
    return world.fresh(world.said, protocols=[monitoring()])


def ruled(world: World, base: Base, matter: MatterRow, answer: str, **keys: Any) -> Entry:
    """A lead answers, and the base hears of it."""
    ruling = world.rule(matter.kind, matter.of, answer, **keys)
    base.receive(world.books[-1].entries, source="test")
    return ruling


def retracted(world: World, base: Base, *entries: Entry) -> None:
    world.open_book(role="lead").say("retract", {}, [entry.digest for entry in entries])
    base.receive(world.books[-1].entries, source="test")


def asked(world: World, case: str) -> tuple[str, dict[str, Any]]:
    """Something is said that asks a question of this kind. Returns an answer to it, with its keys."""
    if case == "double":
        double(world, "alive", "dead")
        return "use", {"fields": {"status": "dead"}}
    if case == "tag":
        world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "9O9"}, "alive")
        return "place", {"coral": name("coral", "201")}
    if case == "same_slate":
        return "same_slate", {"keep": slate_typed_twice(world)[0]}
    book = world.dive("2024-06-01" if case == "site" else "then", world.other_site if case == "site" else world.reef.site)
    world.see(book, "A", {"tag": "101"}, "dead")
    return ("site", {"site": world.reef.site}) if case == "site" else ("day", {"day": "2024-06-05"})


def slate_typed_twice(world: World) -> list[str]:
    """Sessions in which one person typed the same rows, but for one size."""
    said = {"day": "2024-06-01", "site": world.reef.site, "protocol": world.protocol.digest, "recorder": "EA"}
    books = [world.open_book(**said) for _ in range(2)]
    for i, book in enumerate(books):
        for plot, tag in (("A", "101"), ("A", "102"), ("B", "201"), ("B", "202")):
            world.see(book, plot, {"tag": tag}, "alive", size_cm=f"1{i if tag == '101' else 0}.5", note=f"under {tag}")
    return sorted(book.session for book in books)


@pytest.mark.parametrize("case", ["double", "tag", "same_slate", "site", "date"])
def test_a_ruling_taken_back_leaves_the_state_as_it_was(world: World, case: str) -> None:
    answer, keys = asked(world, case)
    base = heard(world)
    (matter,) = matters(base, case)
    before = settled(base)
    ruling = ruled(world, base, matter, answer, **keys)
    during = settled(base)
    retracted(world, base, ruling)
    assert (settled(base) == before, during == before) == (True, False)


@pytest.mark.parametrize("case", ["double", "tag", "same_slate", "site", "date"])
def test_a_ruling_settles_the_matter_that_it_answers(world: World, case: str) -> None:
    answer, keys = asked(world, case)
    base = heard(world)
    ruling = ruled(world, base, matters(base, case)[0], answer, **keys)
    assert [matter.ruling for matter in matters(base, case)] == [ruling.digest]


def test_a_late_observation_opens_the_matter_again(world: World) -> None:
    double(world, "alive", "dead")
    base = heard(world)
    ruled(world, base, matters(base, "double")[0], "use", fields={"status": "dead"})
    double(world, "missing")
    base.receive(world.said, source="test")
    assert [(matter.is_open, len(matter.of)) for matter in matters(base, "double")] == [(True, 3)]


def test_a_ruling_applies_again_once_its_observations_are_the_only_ones_again(world: World) -> None:
    double(world, "alive", "dead")
    base = heard(world)
    ruled(world, base, matters(base, "double")[0], "use", fields={"status": "dead"})
    before = settled(base)["coral"]
    (late,) = double(world, "missing")
    base.receive(world.said, source="test")
    retracted(world, base, late)
    assert settled(base)["coral"] == before and not matters(base, "double")[0].is_open


def test_an_observation_of_another_coral_leaves_a_ruling_alone(world: World) -> None:
    double(world, "alive", "dead")
    base = heard(world)
    ruled(world, base, matters(base, "double")[0], "use", fields={"status": "dead"})
    world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "102"}, "dead")
    base.receive(world.said, source="test")
    assert [matter.is_open for matter in matters(base, "double")] == [False]


def test_a_correction_of_a_ruled_observation_opens_the_matter_again(world: World) -> None:
    _, dead = double(world, "alive", "dead")
    base = heard(world)
    ruled(world, base, matters(base, "double")[0], "use", fields={"status": "dead"})
    world.books[-2].say("observation", {**dead.values, "status": "missing"}, [dead.digest])
    base.receive(world.said, source="test")
    assert [matter.is_open for matter in matters(base, "double")] == [True]


def test_two_bases_that_rule_differently_ask_which_of_the_two_holds_under_one_id(world: World) -> None:
    double(world, "alive", "dead")
    for base, status in zip(world.bases, ("alive", "dead"), strict=True):
        base.keep_protocol(world.protocol.body)
        base.receive(world.said, source="test")
        ruled(world, base, matters(base, "double")[0], "use", fields={"status": status})
    world.carry(*world.bases)
    world.carry(*reversed(world.bases))
    one, other = (matters(base, "rulings_differ") for base in world.bases)
    assert (one, len(one), digest(world.bases[0])) == (other, 1, digest(world.bases[1]))


def test_while_rulings_differ_none_of_them_applies(world: World) -> None:
    double(world, "alive", "dead")
    base = heard(world)
    (matter,) = matters(base, "double")
    before = settled(base)["seen"]
    for status in ("alive", "dead"):
        ruled(world, base, matter, "use", fields={"status": status})
    assert settled(base)["seen"] == before and matters(base, "double")[0].is_open


def test_taking_back_one_of_two_rulings_lets_the_other_hold(world: World) -> None:
    double(world, "alive", "dead")
    base = heard(world)
    (matter,) = matters(base, "double")
    first, second = (ruled(world, base, matter, "use", fields={"status": status}) for status in ("alive", "dead"))
    retracted(world, base, first)
    assert [matter.ruling for matter in matters(base, "double")] == [second.digest]


def test_a_ruling_that_moves_a_reading_to_another_plot_moves_it_back_when_retracted(world: World) -> None:
    asked(world, "tag")
    base = heard(world)
    ruling = ruled(world, base, matters(base, "tag")[0], "place", coral=name("coral", "201"))
    with base.view() as view:
        moved = [row.fate for row in view.observations_of_coral(name("coral", "201"))]
    retracted(world, base, ruling)
    with base.view() as view:
        assert (moved, list(view.observations_of_coral(name("coral", "201")))) == (["counted"], [])


def test_a_phone_cannot_rule(world: World) -> None:
    of = [entry.digest for entry in double(world, "alive", "dead")]
    world.open_book(role="crew").say("ruling", {"matter": "double", "of": sorted(of), "answer": "set_aside"})
    base = heard(world)
    assert matters(base, "double")[0].is_open and len(matters(base, "not_entitled")) == 1
