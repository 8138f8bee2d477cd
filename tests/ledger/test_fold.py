"""Which entries stand: decided by what they name and by their sessions alone, in whatever order they are looked at."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.ledger import Entry, mint
from fieldkit.ledger.fold import Session, Standing, is_beyond_redaction, merged, opened, redacted, session, standing
from tests.support.programme import Book, name


@pytest.fixture
def crew() -> Book:
    return Book("crew", site=name("site"), day="2026-11-12")


@pytest.fixture
def lead() -> Book:
    return Book("lead", role="lead")


def sessions(*books: Book) -> dict[str, Session]:
    return {book.session: opened(book.session, book.entries, frozenset()) for book in books}


def stands(*books: Book) -> Standing:
    return standing([entry for book in books for entry in book.entries], sessions(*books))


def said(of: Book, *others: Book) -> Session:
    entries = [entry for book in (of, *others) for entry in book.entries]
    return session(of.session, entries, sessions(of, *others))[0]


def note(book: Book, tag: str, *replaced: Entry) -> Entry:
    return book.say("observation", {"plot": name("plot"), "tag": tag, "status": "alive"}, [entry.digest for entry in replaced])


def test_what_nothing_names_stands(crew: Book) -> None:
    assert note(crew, "1").digest in stands(crew).heads


def test_what_is_replaced_in_its_own_session_stands_no_more(crew: Book) -> None:
    first = note(crew, "1")
    second = note(crew, "2", first)
    found = stands(crew)
    assert (found.fates, second.digest in found.heads) == ({first.digest: "superseded"}, True)


def test_what_was_replaced_stays_so_though_its_successor_falls(crew: Book) -> None:
    first = note(crew, "1")
    second = note(crew, "2", first)
    crew.say("retract", {}, [second.digest])
    assert stands(crew).fates == {first.digest: "superseded", second.digest: "retracted"}


def test_another_crews_correction_has_no_effect(crew: Book) -> None:
    first = note(crew, "1")
    other = Book("other crew")
    correction = note(other, "2", first)
    found = stands(crew, other)
    assert (first.digest in found.heads, found.not_entitled) == (True, (correction.digest,))


def test_a_leads_correction_has_effect_wherever_it_is_written(crew: Book, lead: Book) -> None:
    first = note(crew, "1")
    note(lead, "2", first)
    assert stands(crew, lead).fates == {first.digest: "superseded"}


def test_two_corrections_of_one_entry_both_stand(crew: Book, lead: Book) -> None:
    first = note(crew, "1")
    corrections = note(crew, "2", first), note(lead, "3", first)
    assert {entry.digest for entry in corrections} <= stands(crew, lead).heads.keys()


def test_nothing_has_effect_before_its_session_opens(crew: Book) -> None:
    entry = note(crew, "1")
    crew.entries.pop(0)
    found = stands(crew)
    assert (found.fates, found.not_entitled) == ({entry.digest: "not understood"}, ())


def test_an_entry_of_another_device_has_no_effect(crew: Book) -> None:
    crew.entries.append(mint("observation", device=name("d"), session=crew.session, seq=2, at=0, values={"tag": "1"}))
    assert stands(crew).not_entitled == (crew.entries[1].digest,)


@pytest.mark.parametrize("value", [["a", "b"], {"id": "a"}])
def test_a_thing_that_is_named_by_no_name_is_not_understood(crew: Book, value: object) -> None:
    entry = crew.say("observation", {"plot": value, "tag": "1"})
    assert stands(crew).fates == {entry.digest: "not understood"}


def test_entries_of_an_import_that_was_taken_back_are_retracted(crew: Book) -> None:
    book = Book("import", **{"import": "e" * 64})
    entry = note(book, "1")
    known = {book.session: opened(book.session, book.entries, frozenset({"e" * 64}))}
    assert standing(book.entries, known).fates[entry.digest] == "retracted"


@given(data=st.data())
def test_the_order_in_which_entries_are_looked_at_decides_nothing(data: st.DataObject) -> None:
    crew, lead = Book("crew"), Book("lead", role="lead")
    for _ in range(data.draw(st.integers(1, 6))):
        book = data.draw(st.sampled_from([crew, lead]))
        named = data.draw(st.lists(st.sampled_from([*crew.entries, *lead.entries]), max_size=2))
        book.say(data.draw(st.sampled_from(["observation", "retract", "site"])), {}, [entry.digest for entry in named])
    entries = data.draw(st.permutations([*crew.entries, *lead.entries]))
    assert standing(entries, sessions(crew, lead)) == stands(crew, lead)


def test_a_session_says_what_its_opening_says_with_its_corrections(crew: Book, lead: Book) -> None:
    lead.say("session", {**crew.entries[0].values, "day": "2026-11-13"}, [crew.entries[0].digest])
    assert said(crew, lead).values == {"role": "crew", "site": name("site"), "day": "2026-11-13"}


def test_two_corrections_that_differ_leave_the_value_unknown(crew: Book, lead: Book) -> None:
    for day in ("2026-11-13", "2026-11-14"):
        lead.say("session", {"role": "crew", "site": name("site"), "day": day}, [crew.entries[0].digest])
    one = said(crew, lead)
    assert (one.disputed, "day" in one.values, one.values["site"]) == (("day",), False, name("site"))


def test_a_session_knows_how_many_entries_are_still_out(crew: Book) -> None:
    note(crew, "1")
    crew.say("close", {"n": 5, "photos": "0"})
    one = said(crew)
    assert (one.promised, one.held) == (5, 3)


def test_a_correction_counts_once_however_often_it_is_given(crew: Book) -> None:
    first = note(crew, "1")
    second = note(crew, "2", first)
    one, _ = session(crew.session, [*crew.entries, second], sessions(crew))
    assert (one.held, one.continued_twice) == (3, ())


def test_a_place_that_is_taken_twice_is_named(crew: Book) -> None:
    entry = note(crew, "1")
    other = mint("observation", device=crew.device, session=crew.session, seq=entry.seq, at=1, values={"tag": "9"})
    crew.entries.append(other)
    assert said(crew).continued_twice == tuple(sorted([entry.digest, other.digest]))


def test_a_leads_opening_goes_before_a_crews(lead: Book) -> None:
    claims = [mint("session", device=name("d"), session=lead.session, seq=1, at=i, values={"role": "crew"}) for i in range(9)]
    assert any(claim.digest < lead.entries[0].digest for claim in claims)
    assert opened(lead.session, [*claims, *lead.entries], frozenset()).device == lead.device


def test_what_a_lead_redacts_is_named_by_its_own_opening(lead: Book) -> None:
    redaction = lead.say("redact", {"of": ["a" * 64, "not a digest"]})
    assert redacted([redaction], lead.entries[:1]) == {"a" * 64}


@pytest.mark.parametrize("openings", [[], Book("crew").entries, Book("lead", role="lead", device="another").entries])
def test_a_redaction_without_a_leads_opening_of_the_same_device_names_nothing(lead: Book, openings: Iterable[Entry]) -> None:
    assert redacted([lead.say("redact", {"of": ["a" * 64]})], openings) == frozenset()


def test_a_redaction_and_what_opens_a_leads_session_cannot_be_redacted(crew: Book, lead: Book) -> None:
    redaction = lead.say("redact", {"of": ["a" * 64]})
    beyond = [is_beyond_redaction(entry) for entry in (redaction, lead.entries[0], crew.entries[0], note(crew, "1"))]
    assert beyond == [True, True, False, False]


def test_statements_that_say_different_things_are_put_together() -> None:
    assert merged([{"name": "Amo"}, {"depth_m": "5"}, {"name": "Amo"}]) == ({"name": "Amo", "depth_m": "5"}, ())


def test_statements_that_contradict_each_other_leave_that_value_out() -> None:
    assert merged([{"name": "Amo", "code": "A"}, {"name": "Bako"}]) == ({"code": "A"}, ("name",))


def test_a_session_stays_one_of_its_import_though_its_opening_was_corrected() -> None:
    book = Book("import", **{"import": "e" * 64})
    book.say("session", {"role": "crew", "day": "2026-11-12"}, [book.entries[0].digest])
    one, _ = session(book.session, book.entries, {book.session: opened(book.session, book.entries, frozenset({"e" * 64}))})
    assert (one.of_import, one.taken_back, "import" in one.values) == ("e" * 64, True, False)
