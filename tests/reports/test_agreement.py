"""How far recorders agree: what is compared, and what is not. Rows of plot A, corals 101, 102 … on one day unless said."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.protocol import read_protocol
from fieldkit.reports.agreement import Agreement, FieldAgreement, agreement
from tests.reports.planted import TRUTH
from tests.support.programme import Book, Reef, base_of

DAY = "2024-06-01"


def told(folder: Path, made: Reef) -> Agreement:
    base = base_of(folder / "base", made.entries(), [made.protocol])
    with base.view() as view:
        return agreement(view, base.protocol)


def field(found: Agreement, name_: str = "status") -> FieldAgreement:
    return next(one for one in found.fields if one.field.name == name_)


def seen_by(made: Reef, who: str, *said: str, day: str = DAY, **values: object) -> Book:
    """A dive on which the corals 101, 102 … were in these states; `-` leaves one out."""
    book = made.dive(who, day)
    for i, status in enumerate(said):
        if status != "-":
            made.see(book, f"{101 + i}", status, **values if status == "alive" else {})
    return book


@pytest.fixture
def made() -> Reef:
    return Reef({"A": 6, "B": 2})


def test_of_two_recorders_each_coral_that_both_saw_is_one_comparison(tmp_path: Path, made: Reef) -> None:
    seen_by(made, "KT", "alive", "dead", "missing", "alive", "-")
    seen_by(made, "RS", "alive", "dead", "dead", "-", "alive")
    found = told(tmp_path, made)
    assert (found.doubles, field(found).everyone.n, field(found).everyone.agree) == (3, 3, 2)


def test_the_first_recorders_values_are_the_rows_of_the_table(tmp_path: Path, made: Reef) -> None:
    seen_by(made, "RS", "dead", "dead", "alive")
    seen_by(made, "KT", "alive", "dead", "alive")
    pair = field(told(tmp_path, made)).pairs["KT", "RS"]
    assert (pair.classes, pair.table) == (("alive", "dead"), ((1, 1), (0, 1)))


def test_what_was_noted_counts_whatever_was_settled_since(tmp_path: Path, made: Reef) -> None:
    one, other = seen_by(made, "KT", "alive"), seen_by(made, "RS", "dead")
    of = sorted(book.entries[1].digest for book in (one, other))
    ruling = {"matter": "double", "of": of, "answer": "use", "fields": {"status": "dead"}}
    made.lead("evening").say("ruling", ruling)
    assert field(told(tmp_path, made)).everyone.agree == 0


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda made: seen_by(made, "KT", "alive", day="2024-06-02"), "same_recorder"),
        (lambda made: made.see(made.dive("?", DAY, recorder=""), "101"), "no_recorder"),
    ],
)
def test_what_tells_nothing_of_two_people_is_counted_and_not_compared(
    spoil: Callable[[Reef], object], why: str, tmp_path: Path, made: Reef
) -> None:
    seen_by(made, "KT", "alive")
    spoil(made)
    found = told(tmp_path, made)
    assert (found.doubles, found.left_out) == (0, {why: 1})


SIZES = ("11.5", "12.5", "13.5", "14.5", "15.5", "16.5")


def typed_twice(made: Reef) -> tuple[str, str]:
    """One slate of six corals, typed on two phones by one recorder's buddies."""
    books = [made.dive(f"KT{phone}", DAY, recorder="KT", typed_by=phone) for phone in ("p", "q")]
    for book in books:
        for i, size in enumerate(SIZES):
            made.see(book, f"{101 + i}", size_cm=size, live_tissue=f"{40 + i}", note=f"by rock {i}")
    one, other = sorted(book.session for book in books)
    return one, other


def test_rows_that_may_be_one_slate_wait_for_a_ruling(tmp_path: Path, made: Reef) -> None:
    typed_twice(made)
    assert told(tmp_path, made).left_out == {"may_be_one_slate": 6}


def test_a_slate_typed_twice_is_one_observer(tmp_path: Path, made: Reef) -> None:
    of = typed_twice(made)
    made.lead("evening").say("ruling", {"matter": "same_slate", "of": list(of), "answer": "same_slate", "keep": of[0]})
    seen_by(made, "RS", *["alive"] * 6)
    found = told(tmp_path, made)
    assert (found.doubles, found.left_out, list(field(found).pairs)) == (6, {}, [("KT", "RS")])


def test_practice_and_what_was_set_aside_are_in_no_figure(tmp_path: Path, made: Reef) -> None:
    seen_by(made, "KT", "alive", "alive")
    book = made.dive("NL", DAY, practice=True)
    made.see(book, "101", "dead")
    rs = seen_by(made, "RS", "dead", "alive")
    of = sorted([made.books[2].entries[1].digest, rs.entries[1].digest])
    ruling = {"matter": "double", "of": of, "answer": "set_aside", "observation": rs.entries[1].digest}
    made.lead("evening").say("ruling", ruling)
    found = told(tmp_path, made)
    assert (found.doubles, field(found).everyone.agree) == (1, 1)


def test_sizes_agree_within_what_the_protocol_allows(tmp_path: Path, made: Reef) -> None:
    for who, sizes in (("KT", ("10", "10", "10")), ("RS", ("12", "12.1", "9"))):
        book = made.dive(who, DAY)
        for i, size in enumerate(sizes):
            made.see(book, f"{101 + i}", size_cm=size)
    found = field(told(tmp_path, made), "size_cm")
    apart = found.pairs["KT", "RS"].differences
    assert (found.everyone.agree, found.everyone.apart) == (2, 2.0)
    assert apart and (round(apart.bias, 3), apart.middle) == (round((-2 - 2.1 + 1) / 3, 3), -2.0)


def test_ordered_classes_are_weighted_by_their_places_in_the_protocol(tmp_path: Path, made: Reef) -> None:
    """none, pale, partly, fully: fully against none is three places, though nobody noted partly."""
    for who, values in (("KT", ("none", "none", "pale", "fully")), ("RS", ("none", "pale", "pale", "none"))):
        book = made.dive(who, DAY)
        for i, value in enumerate(values):
            made.see(book, f"{101 + i}", bleaching=value)
    kappas = field(told(tmp_path, made), "bleaching").pairs["KT", "RS"].kappas
    assert kappas and set(kappas) == {"unweighted", "linear", "quadratic"}
    # Disagreement by places: seen (0 + 1 + 0 + 3) / 4; by chance none, none, pale, fully beside none, pale, pale, none.
    by_chance = (2 * (2 * 0 + 2 * 1) + 1 * (2 * 1 + 0) + 1 * (2 * 3 + 2 * 2)) / 16
    assert kappas["linear"].value == pytest.approx(1 - (4 / 4) / by_chance)


def test_classes_without_order_are_not_weighted(tmp_path: Path, made: Reef) -> None:
    seen_by(made, "KT", "alive", "dead")
    seen_by(made, "RS", "alive", "dead")
    assert list(field(told(tmp_path, made)).everyone.kappas or {}) == ["unweighted"]


def test_full_agreement_has_no_limits_and_one_class_no_kappa(tmp_path: Path, made: Reef) -> None:
    for who in ("KT", "RS"):
        book = made.dive(who, DAY)
        for tag, status in (("101", "alive"), ("102", "dead")):
            made.see(book, tag, status, **({"bleaching": "none"} if status == "alive" else {}))
    found = told(tmp_path, made)
    status, bleaching = (field(found, one).pairs["KT", "RS"].kappas for one in ("status", "bleaching"))
    assert status and (status["unweighted"].value, status["unweighted"].lower) == (1.0, None)
    assert bleaching and bleaching["unweighted"].value is None


def test_where_one_class_holds_nearly_all_that_is_said(tmp_path: Path, made: Reef) -> None:
    seen_by(made, "KT", *["alive"] * 6)
    seen_by(made, "RS", *["alive"] * 5, "dead")
    everyone = field(told(tmp_path, made)).everyone
    assert (everyone.is_nearly_all_one, everyone.most, everyone.most_share) == (True, "alive", 11 / 12)


def test_a_field_that_one_left_out_is_no_disagreement_but_counted(tmp_path: Path, made: Reef) -> None:
    made.see(made.dive("KT", DAY), "101", bleaching="pale", size_cm="10")
    made.see(made.dive("RS", DAY), "101", size_cm="10")
    found = told(tmp_path, made)
    assert [one.field.name for one in found.fields] == ["status", "size_cm"]


def test_three_recorders_of_one_coral_are_three_pairs(tmp_path: Path, made: Reef) -> None:
    for who, status in (("KT", "alive"), ("MO", "alive"), ("RS", "dead")):
        seen_by(made, who, status)
    found = field(told(tmp_path, made))
    assert (list(found.pairs), found.everyone.agree) == ([("KT", "MO"), ("KT", "RS"), ("MO", "RS")], 1)


def test_a_recorders_months_are_against_all_partners(tmp_path: Path, made: Reef) -> None:
    for who, day, status in (("KT", "2024-06-01", "alive"), ("RS", "2024-06-01", "alive")):
        seen_by(made, who, status, day=day)
    for who, status in (("KT", "alive"), ("MO", "dead")):
        seen_by(made, who, status, day="2024-09-01")
    drift = told(tmp_path, made).drift
    assert [(month.month, month.n, month.agree) for month in drift["KT"]] == [("2024-06", 1, 1), ("2024-09", 1, 0)]
    assert [month.month for month in drift["RS"]] == ["2024-06"]


def test_a_recorder_whose_tape_slips_further_each_month_drifts_and_nobody_else_does(tmp_path: Path) -> None:
    """Simulated: NL measures 0.8 cm more each month beside KT and RS, who agree; sizes agree within 2 cm."""
    made = Reef({"A": 12})
    months = ["2024-06-01", "2024-07-01", "2024-08-01", "2024-09-01", "2024-10-01"]
    for i, day in enumerate(months):
        for who, slip in (("KT", 0.0), ("RS", 0.5), ("NL", 0.8 * i)):
            book = made.dive(who, day)
            for j in range(12):
                made.see(book, f"{101 + j}", size_cm=f"{10 + j + slip + 0.1 * (j % 3):.1f}")
    found = field(told(tmp_path, made), "size_cm")
    drift = {one.recorder: [month.agree / month.n for month in one.months] for one in found.recorders}
    assert drift["NL"] == [1, 1, 1, 0.5, 0]
    assert drift["KT"] == [1, 1, 1, 0.5, 0.5] and found.pairs["KT", "RS"].share == 1


def test_repeats_are_counted_against_what_the_protocol_plans(tmp_path: Path, made: Reef) -> None:
    seen_by(made, "KT", "alive", "alive", "alive", "alive")
    seen_by(made, "RS", "alive")
    found = told(tmp_path, made)
    assert found.planned == 0.1
    assert [(one.site, one.visit, one.corals, one.repeated) for one in found.repeats] == [("Amo", DAY, 4, 1)]


def practice(made: Reef, who: str, *said: str, role: str = "crew") -> None:
    book = Book(f"practice {who}", role=role, **head(made, who))
    made.books.append(book)
    for i, status in enumerate(said):
        made.see(book, f"X{i}", status)


def head(made: Reef, who: str) -> dict[str, object]:
    return {"site": made.site, "day": DAY, "protocol": made.protocol.digest, "recorder": who, "practice": True}


def test_practice_is_scored_against_a_leads_answers_of_that_day(tmp_path: Path, made: Reef) -> None:
    practice(made, "NL", "alive", "dead", "alive", "alive")
    practice(made, "EA", "alive", "alive", "alive", role="lead")
    found = told(tmp_path, made)
    (score,) = found.practice
    assert (score.recorder, score.lead, score.rows, score.missed, score.added) == ("NL", "EA", 4, 0, 1)
    assert (dict(score.fields), found.doubles) == ({"status": (3, 2)}, 0)


def test_practice_without_a_leads_answers_has_no_score(tmp_path: Path, made: Reef) -> None:
    practice(made, "NL", "alive")
    (score,) = told(tmp_path, made).practice
    assert (score.lead, score.compared) == (None, 0)


def test_values_of_an_older_protocol_are_compared_under_the_newest_names(tmp_path: Path, made: Reef) -> None:
    newer = made.protocol.body.replace(b"version = 1", b"version = 2", 1).replace(
        b'{ value = "pale", code', b'{ value = "lighter", was = "pale", code', 1
    )
    later = read_protocol(newer)
    made.see(made.dive("KT", DAY), "101", bleaching="pale")
    made.see(made.dive("RS", DAY, protocol=later.digest), "101", bleaching="lighter")
    base: Base = base_of(tmp_path / "base", made.entries(), [made.protocol, later])
    with base.view() as view:
        found = agreement(view, base.protocol)
    assert field(found, "bleaching").everyone.agree == 1


def test_agreement_of_an_empty_base_is_empty(tmp_path: Path) -> None:
    base = base_of(tmp_path / "base")
    with base.view() as view:
        found = agreement(view, base.protocol)
    assert (found.doubles, found.fields, found.repeats, found.practice) == (0, (), (), ())


def test_the_sample_gives_the_doubles_that_were_planned_into_it(sample: Path) -> None:
    base = Base(sample)
    with base.view() as view:
        found = agreement(view, base.protocol)
    planted = [flaw for flaw in TRUTH["flaws"] if flaw["matter"] == "double"]
    differing = sum(one.everyone.n - one.everyone.agree for one in found.fields)
    assert differing >= len(planted) > 0


def test_practice_of_the_training_day_is_scored_against_the_leads_answers(sample: Path) -> None:
    base = Base(sample)
    with base.view() as view:
        scores = {score.recorder: score for score in agreement(view, base.protocol).practice if score.lead}
    assert {who: (score.lead, score.missed) for who, score in scores.items()} == {"NL": ("EA", 1), "RS": ("EA", 0)}
    assert scores["NL"].fields["bleaching"] == (7, 5)
