"""Who may say what: decided by the session alone, never by who came first; what nobody understands is kept and passed on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.base import Base
from fieldkit.ledger import FAMILIES, LEAD_FAMILIES, is_id, mint
from tests.base.world import World, accounts, digest, settled
from tests.support.programme import Book, base_of, monitoring, name


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path)


def kinds_of_matters(base: Base) -> list[str]:
    with base.view() as view:
        return sorted(matter.kind for matter in view.matters())


@pytest.mark.parametrize("kind", sorted(kind for kind, family in FAMILIES.items() if family in LEAD_FAMILIES))
def test_a_crew_session_cannot_say_what_is_a_leads_to_say(world: World, kind: str) -> None:
    base = world.fresh(world.said)
    before = settled(base)["thing"], settled(base)["coral"]
    world.open_book(role="crew").say(kind, {kind: name(kind), "name": "X", "of": [world.said[3].digest]})
    base.receive(world.said, source="test")
    assert (settled(base)["thing"], settled(base)["coral"]) == before and kinds_of_matters(base) == ["not_entitled"]


def test_a_crew_session_cannot_replace_what_another_said(world: World) -> None:
    seen = world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "101"}, "alive")
    world.dive("2024-06-01", world.reef.site).say("retract", {}, [seen.digest])
    base = world.fresh(world.said, protocols=[monitoring()])
    with base.view() as view:
        assert view.fates() == {"counted": 1} and [matter.kind for matter in view.matters()] == ["not_entitled"]


def test_a_crew_session_cannot_take_back_an_import(world: World) -> None:
    book = world.dive("2024-06-01", world.reef.site, **{"import": "e" * 64})
    world.see(book, "A", {"tag": "101"}, "alive")
    world.open_book(role="crew").say("retract", {"import": "e" * 64})
    base = world.fresh(world.said, protocols=[monitoring()])
    with base.view() as view:
        assert view.fates() == {"counted": 1} and [matter.kind for matter in view.matters()] == ["not_entitled"]


def test_a_lead_corrects_what_a_crew_noted(world: World) -> None:
    seen = world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "101"}, "alive")
    world.dive("2024-06-01", world.reef.site, role="lead").say("observation", {**seen.values, "status": "dead"}, [seen.digest])
    with world.fresh(world.said, protocols=[monitoring()]).view() as view:
        assert view.fates() == {"counted": 1, "superseded": 1}


def test_an_observation_cannot_replace_what_is_of_another_family(world: World) -> None:
    site = world.of_kinds("site")[0]
    book = world.dive("2024-06-01", world.reef.site, role="lead")
    book.say("observation", {"row": name("row"), "plot": world.reef.plot("A"), "tag": "101", "status": "alive"}, [site.digest])
    base = world.fresh(world.said, protocols=[monitoring()])
    with base.view() as view:
        assert site.values["site"] in view.things("site") and kinds_of_matters(base) == ["not_entitled"]


def test_another_device_cannot_write_into_a_session(world: World) -> None:
    book = world.dive("2024-06-01", world.reef.site)
    world.forge(
        book, 2, "observation", {"plot": world.reef.plot("A"), "tag": "101", "status": "dead"}, name("device", "stolen")
    )
    base = world.fresh(world.said, protocols=[monitoring()])
    with base.view() as view:
        assert view.fates() == {"not understood": 1} and kinds_of_matters(base) == ["not_entitled"]


def test_a_phone_that_opens_a_leads_session_again_silences_nobody(world: World) -> None:
    register = world.books[0]
    before = settled(world.fresh(world.said))
    for at in range(8):  # about half of them have a smaller digest than the lead's own opening
        opening = mint("session", device=name("d"), session=register.session, seq=1, at=at, values={"role": "crew"})
        register.entries.append(opening)
    after = settled(world.fresh(world.said))
    assert [after[table] == before[table] for table in ("thing", "coral")] == [True, True]


def test_a_place_in_a_session_that_is_taken_twice_is_a_matter_and_both_count(world: World) -> None:
    book = world.dive("2024-06-01", world.reef.site)
    seen = world.see(book, "A", {"tag": "101"}, "alive")
    world.forge(book, seen.seq, "observation", {**seen.values, "tag": "102"}, book.device)
    base = world.fresh(world.said, protocols=[monitoring()])
    with base.view() as view:
        assert view.fates() == {"counted": 2} and kinds_of_matters(base) == ["continued_twice"]


def test_a_correction_within_a_session_is_no_second_life_of_it(world: World) -> None:
    book = world.dive("2024-06-01", world.reef.site)
    seen = world.see(book, "A", {"tag": "101"}, "alive")
    book.say("observation", {**seen.values, "status": "dead"}, [seen.digest])
    assert kinds_of_matters(world.fresh(world.said, protocols=[monitoring()])) == []


def test_unknown_kinds_and_later_versions_are_kept_counted_and_passed_on(world: World, tmp_path: Path) -> None:
    book = world.dive("2024-06-01", world.reef.site)
    strange = [book.say("forecast", {"wind": "calm"}), world.from_the_future(book, "observation", {"depth": [1]})]
    one, other = world.bases
    one.receive(world.said, source="test")
    world.carry(one, other)
    with other.view() as view:
        assert len(view.ledger.with_digests([entry.digest for entry in strange])) == 2
        assert {entry.body for entry in view.ledger.all()} == {entry.body for entry in world.said}


words = st.text("ab1", max_size=2) | st.sampled_from([name("plot", "A"), "e" * 64])
anything = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | words,
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["status", "coral"]), inner, max_size=2),
    max_leaves=3,
)
names = st.sampled_from(
    [
        *("row", "plot", "coral", "tag", "position", "genotype", "line", "searched", "status", "size_cm", "count"),
        *("alive", "part", "parts", "site", "day", "import", "protocol", "recorder", "visit", "practice"),
        *("of", "matter", "answer", "fields", "keep", "observation", "n"),
    ]
)
values_of_any_form = st.dictionaries(names, anything, max_size=4)


@settings(max_examples=60)
@given(
    said=st.lists(st.tuples(st.sampled_from(sorted(FAMILIES)), values_of_any_form), max_size=4),
    head=values_of_any_form,
    role=st.sampled_from(("lead", "crew")),
)
def test_no_values_of_any_form_stop_a_base(
    tmp_path_factory: pytest.TempPathFactory, said: list[tuple[str, dict[str, Any]]], head: dict[str, Any], role: str
) -> None:
    book = Book("hostile", role=role, **{"protocol": monitoring().digest, **head})
    for kind, values in said:
        book.say(kind, {kind: name(kind), **values})
    base = base_of(tmp_path_factory.mktemp("hostile") / "base", book.entries, [monitoring()])
    with base.view() as view:
        fates, observations = accounts(view)
    assert base.check() == [] and fates == observations


def test_ids_of_devices_and_sessions_decide_nothing(tmp_path: Path) -> None:
    one, other = World(tmp_path / "one"), World(tmp_path / "other")
    for world, device in ((one, "a"), (other, "b")):
        book = Book(f"dive {device}", device=device, day="2024-06-01", site=world.reef.site, protocol=world.protocol.digest)
        world.books.append(book)
        book.say("observation", {"row": name("row"), "plot": world.reef.plot("A"), "tag": "101", "status": "dead"})
    rows = [settled(world.fresh(world.said, protocols=[monitoring()]))["coral"] for world in (one, other)]
    assert rows[0] == rows[1] and is_id(one.books[-1].session) and digest(one.bases[0]) == digest(other.bases[0])
