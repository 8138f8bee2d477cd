"""Every flaw that the truth names is really in the files, and only there."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from fieldkit.ledger import Entry
from fieldkit.protocol import Protocol, agree

LAST_DAY = date(2026, 11, 10)


def monitoring(sample: Any) -> Protocol:
    return next(p for p in sample.protocols.values() if p.name == "post-outplant-monitoring")


def differing(sample: Any, one: Entry, other: Entry) -> set[str]:
    """The fields on which two observations do not agree, by the protocol."""
    protocol = monitoring(sample)
    shared = one.values.keys() & other.values.keys()
    fields = [field for field in protocol.fields_of("coral") if field.name in shared]
    return {field.name for field in fields if not agree(field, one.values[field.name], other.values[field.name])}


def test_a_misread_tag_hangs_nowhere_in_its_plot(sample: Any) -> None:
    for flaw in sample.planted("misread_tag"):
        (read,) = flaw["of"]
        assert read.values["tag"] not in sample.tags(sample.true_coral(read)["plot"])


def test_the_tag_that_was_misread_was_not_read_by_that_session(sample: Any) -> None:
    for flaw in sample.planted("misread_tag"):
        (read,) = flaw["of"]
        true = sample.coral(flaw["answer"]["coral"])
        assert true["tag"] not in {entry.values.get("tag") for entry in sample.session(read.session)}


def test_misreadings_take_in_glyphs_swapped_figures_and_a_hidden_one(sample: Any) -> None:
    says = [flaw["says"] for flaw in sample.planted("misread_tag")]
    glyphs = [f"{true} read as {read}" for true, read in ("B8", "0O", "1I", "5S", "6G", "8B")]
    assert sorted(says) == sorted([*glyphs, "figures swapped", "figures swapped", "one figure overgrown"])


def test_a_photo_shows_the_coral_whose_tag_was_misread(sample: Any) -> None:
    for flaw in sample.planted("misread_tag"):
        assert sample.photos_of(flaw["of"][0].values["row"])


def test_a_tag_read_twice_stands_on_two_rows_of_one_session(sample: Any) -> None:
    for flaw in sample.planted("read_twice"):
        one, other = flaw["of"]
        assert (one.session, one.values["tag"]) == (other.session, other.values["tag"])
        assert sample.true_coral(one) != sample.true_coral(other) == sample.coral(flaw["answer"]["coral"])


def test_swapped_rows_bear_each_others_tags(sample: Any) -> None:
    for flaw in sample.planted("rows_swapped"):
        one, other = flaw["of"]
        assert (one.values["tag"], other.values["tag"]) == (sample.true_coral(other)["tag"], sample.true_coral(one)["tag"])


def test_a_coral_mistaken_for_dead_was_alive_then_and_is_now(sample: Any) -> None:
    for flaw in sample.planted("mistaken_for_dead"):
        assert [entry.values["status"] for entry in (*flaw["past"], *flaw["of"])] == ["dead", "alive"]
        assert sample.true_coral(flaw["of"][0])["died_on"] is None


def test_a_coral_written_alive_had_died_before_and_been_found_dead(sample: Any) -> None:
    for flaw in sample.planted("written_alive"):
        (read,) = flaw["of"]
        true = sample.true_coral(read)
        assert read.values["status"] == "alive"
        assert sample.seen_before(true["coral"])[-1].values["status"] == "dead"


def test_a_coral_found_again_was_missing_at_the_visit_before(sample: Any) -> None:
    for flaw in sample.planted("found_again"):
        (read,) = flaw["of"]
        assert read.values["status"] == "alive"
        assert sample.seen_before(flaw["corals"][0])[-1].values["status"] == "missing"


def test_doubles_that_agree_agree_by_the_protocol(sample: Any) -> None:
    for flaw in sample.planted("double_agrees"):
        one, other = flaw["of"]
        assert one.session != other.session
        assert not differing(sample, one, other)


def test_doubles_of_state_differ_in_the_state_and_the_answer_is_the_truth(sample: Any) -> None:
    for flaw in sample.planted("double_state"):
        one, other = flaw["of"]
        assert differing(sample, one, other) == {"status"}
        assert flaw["answer"]["fields"]["status"] == sample.truth["observations"][one.digest]["status"]


def test_doubles_of_measures_differ_in_that_measure_alone(sample: Any) -> None:
    for flaw in sample.planted("double_measure"):
        assert differing(sample, *flaw["of"]) == set(flaw["answer"]["fields"])


def test_a_slate_typed_twice_differs_in_the_keying_errors_alone(sample: Any) -> None:
    (flaw,) = sample.planted("same_slate")
    first, again = ([e for e in sample.session(id_) if e.kind == "observation"] for id_ in flaw["sessions"])
    strip = [{name: value for name, value in entry.values.items() if name != "row"} for entry in (*first, *again)]
    pairs = zip(strip[: len(first)], strip[len(first) :], strict=True)
    assert sum(one != other for one, other in pairs) == len(sample.planted("keying_error"))


def test_an_implausible_size_grew_faster_than_the_protocol_allows(sample: Any) -> None:
    for flaw in sample.planted("implausible_size"):
        (read,) = flaw["of"]
        before = max(Decimal(e.values["size_cm"]) for e in sample.seen_before(flaw["corals"][0]) if "size_cm" in e.values)
        half_a_year = monitoring(sample).plausible["growth_cm_per_year"] / 2
        assert Decimal(read.values["size_cm"]) - before > half_a_year


def test_a_wrong_day_stands_in_the_head_and_the_answer_is_the_true_one(sample: Any) -> None:
    for flaw in sample.planted("wrong_date"):
        head = sample.session(flaw["sessions"][0])[0]
        assert head.values["day"] != flaw["answer"]["day"] == str(LAST_DAY)


def test_a_wrong_site_stands_over_rows_of_another_sites_plots(sample: Any) -> None:
    site_of = {e.values["plot"]: e.values["site"] for e in sample.of("plot", sample.entries.values())}
    (flaw,) = sample.planted("wrong_site")
    head, *rows = sample.session(flaw["sessions"][0])
    sites = {site_of[entry.values["plot"]] for entry in rows if entry.kind == "observation"}
    assert sites == {flaw["answer"]["site"]} != {head.values["site"]}


def test_the_clock_answer_brings_every_photo_of_the_session_into_the_dives(sample: Any) -> None:
    for flaw in sample.planted("clock_off"):
        photos = sample.of("photo", sample.session(flaw["sessions"][0]))
        told = [datetime.fromisoformat(entry.values["camera_time"]) for entry in photos]
        true = [time + timedelta(seconds=int(flaw["answer"]["offset_s"])) for time in told]
        assert all(time.date() == LAST_DAY and 8 <= time.hour < 17 for time in true)
        assert not any(time.date() == LAST_DAY and 8 <= time.hour < 17 for time in told)


def test_one_photo_hangs_on_two_corals(sample: Any) -> None:
    (flaw,) = sample.planted("photo_twice")
    one, other = (sample.photos_of(entry.values["row"]) for entry in flaw["of"])
    assert one == other != []


def test_a_missing_photo_is_named_by_its_row(sample: Any) -> None:
    (flaw,) = sample.planted("photo_missing")
    assert sample.photos_of(flaw["of"][0].values["row"]) == sample.truth["photos_withheld"]


def test_corals_not_searched_say_so_and_nothing_else(sample: Any) -> None:
    for flaw in sample.planted("not_searched"):
        assert flaw["of"][0].values.keys() == {"row", "plot", "tag", "line", "searched"}


def test_corals_unread_or_still_out_have_no_observation_of_the_day(sample: Any) -> None:
    true = {said["coral"] for said in sample.truth["observations"].values()}
    unread = {coral for kind in ("unread", "still_out") for flaw in sample.planted(kind) for coral in flaw["corals"]}
    assert unread
    assert not unread & true


def test_a_practice_session_says_so_in_its_head(sample: Any) -> None:
    (flaw,) = sample.planted("practice")
    assert sample.session(flaw["sessions"][0])[0].values["practice"] is True


def test_the_halves_of_a_counted_plot_add_up_to_what_was_planted(sample: Any) -> None:
    (flaw,) = sample.planted("halves")
    rows = [e for id_ in flaw["sessions"] for e in sample.session(id_) if e.kind == "observation" and "parts" in e.values]
    counted = sum(int(entry.values[state]) for entry in rows for state in ("alive", "dead", "missing"))
    assert counted == sum(group["planted"] for group in sample.truth["counted"] if group["plot"] == "PAN-12")


def test_notes_go_beyond_ascii_and_a_lost_tag_leaves_the_position(sample: Any) -> None:
    assert all(not flaw["of"][0].values["note"].isascii() for flaw in sample.planted("note"))
    assert all("tag" not in flaw["of"][0].values and "position" in flaw["of"][0].values for flaw in sample.planted("tag_lost"))


def test_no_coral_has_two_flaws_of_its_own(sample: Any) -> None:
    whole_slates = {"same_slate", "keying_error", "wrong_date", "wrong_site", "still_out", "double_agrees"}
    corals = [coral for flaw in sample.truth["flaws"] if flaw["kind"] not in whole_slates for coral in flaw["corals"]]
    assert len(corals) == len(set(corals))


def test_an_observation_without_a_flaw_says_the_true_state_of_the_coral_that_it_names(sample: Any) -> None:
    spoilt = {
        entry.digest for kind in {f["kind"] for f in sample.truth["flaws"]} for f in sample.planted(kind) for entry in f["of"]
    }
    for digest, true in sample.truth["observations"].items():
        entry = sample.entries[digest]
        if digest not in spoilt:
            coral = sample.coral(true["coral"])
            named = entry.values.get("coral") or sample.tags(coral["plot"])[entry.values["tag"]]
            assert (named, entry.values["status"]) == (true["coral"], true["status"])
