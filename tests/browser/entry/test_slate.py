"""What a thumb does with the slate: one tap a healthy coral, findings on top, nothing assumed, everything taken back."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.entry.conftest import LAPTOP, Phone, Phones, noted

SITE, PLOT = "Ray Steps", "RAY-11"  # nine corals, S201 the first


@pytest.fixture
def slate(phone: Phone) -> Phone:
    return phone.begin(SITE, PLOT)


def test_a_healthy_coral_is_one_tap_and_the_next_comes_under_the_thumb(slate: Phone) -> None:
    first, key = slate.tag.inner_text(), slate.finish.bounding_box()
    slate.go_on()
    assert (first, slate.tag.inner_text()) != (first, first)
    assert slate.finish.bounding_box() == key


def test_all_well_records_what_the_protocol_says_and_nothing_else(slate: Phone) -> None:
    slate.go_on()
    well = {"attachment": "solid", "breakage": "none", "bleaching": "none", "disease": ["none"], "predation": ["none"]}
    assert noted(slate) == [{"line": "1", "status": "alive", "competition": ["none"], **well}]


def test_a_finding_implies_what_it_hangs_on_and_the_rest_is_added_by_the_large_key(slate: Phone) -> None:
    slate.tap("Bleaching").key("Pale").click()
    expect(slate.words).to_have_text("Alive; Bleaching: Pale")
    slate.go_on()
    assert (noted(slate)[0]["bleaching"], noted(slate)[0]["disease"]) == ("pale", ["none"])


def test_going_on_without_the_large_key_assumes_nothing(slate: Phone) -> None:
    slate.tap("Alive", "Next")
    assert noted(slate) == [{"line": "1", "status": "alive"}]


def test_a_row_that_nobody_read_leaves_nothing_behind(slate: Phone) -> None:
    slate.tap("Next")
    assert noted(slate) == []


def test_a_dead_coral_is_asked_for_its_cause_and_not_for_bleaching(slate: Phone) -> None:
    slate.tap("Dead")
    expect(slate.key("Likely cause")).to_be_visible()
    expect(slate.key("Bleaching")).to_have_count(0)


def test_what_hung_on_a_state_goes_with_it(slate: Phone) -> None:
    slate.tap("Bleaching").key("Pale").click()
    slate.tap("Dead")
    expect(slate.words).to_have_text("Dead")
    assert noted(slate) == [{"line": "1", "status": "dead"}]


def test_searched_and_missing_is_not_the_same_as_not_searched(slate: Phone) -> None:
    slate.tap("Missing", "Next", "Not searched", "Next")
    assert noted(slate) == [{"line": "1", "status": "missing"}, {"line": "2", "searched": "no"}]


def test_undo_takes_back_one_thing_at_a_time_and_goes_there(slate: Phone) -> None:
    first = slate.tag.inner_text()
    slate.go_on().tap("Dead")
    expect(slate.words).to_have_text("Dead")
    slate.tap("Undo")
    expect(slate.words).to_have_text("not read yet")
    slate.page.wait_for_timeout(310)
    slate.tap("Undo")
    expect(slate.tag).to_have_text(first)
    assert noted(slate) == []


def test_a_second_tap_on_the_same_key_at_once_is_a_drop_of_water(slate: Phone) -> None:
    slate.page.evaluate("""() => { const key = document.querySelector(".foot .finish"); key.click(); key.click(); }""")
    expect(slate.page.locator(".folded.read")).to_have_count(1)
    slate.page.wait_for_timeout(200)
    assert len(noted(slate)) == 1


def test_a_key_acts_on_release_within_it(slate: Phone) -> None:
    box = slate.key("Dead", exact=True).bounding_box()
    assert box
    slate.page.mouse.move(box["x"] + 20, box["y"] + 20)
    slate.page.mouse.down()
    slate.page.mouse.move(box["x"] + 20, box["y"] + 300)
    slate.page.mouse.up()
    expect(slate.words).to_have_text("not read yet")


def test_choices_are_kept_in_the_protocols_order_and_none_stands_alone(slate: Phone) -> None:
    slate.tap("Predation")
    slate.key("Fish bites").click()
    slate.key("Drupella or other snails").click()
    expect(slate.words).to_have_text("Alive; Predation: Drupella or other snails, Fish bites")
    slate.key("None").click()
    expect(slate.words).to_have_text("Alive; Predation: None")


def test_animals_are_counted_once_some_were_seen(slate: Phone) -> None:
    slate.tap("Predation").key("Drupella or other snails").click()
    slate.tap("Close", "Animals counted")
    for _ in range(2):
        slate.key("Snails: more").click()
        slate.page.wait_for_timeout(310)
    assert noted(slate)[0]["predators"] == {"snails": "2"}


def test_a_usual_share_is_one_tap_and_another_is_typed(slate: Phone) -> None:
    slate.tap("Live tissue", "90", "Recently dead")
    slate.page.get_by_role("textbox").fill("3")
    expect(slate.words).to_contain_text("Recently dead: 3 %")
    assert (noted(slate)[0]["live_tissue"], noted(slate)[0]["recent_mortality"]) == ("90", "3")


def test_what_cannot_be_true_is_not_stored_and_the_limits_are_said(slate: Phone) -> None:
    slate.tap("Live tissue")
    slate.page.get_by_role("textbox").fill("120")
    expect(slate.page.get_by_role("alert")).to_contain_text("From 0 to 100")
    assert noted(slate) == []


def test_a_size_is_typed_on_keys_of_the_pages_own(slate: Phone) -> None:
    slate.tap("Greatest width", "1", "2", ".", "5")
    expect(slate.words).to_have_text("Alive; Greatest width: 12.5 cm")


def test_a_decimal_comma_is_understood(slate: Phone) -> None:
    slate.tap("Greatest width")
    slate.page.get_by_role("textbox").fill("12,5")
    expect(slate.words).to_have_text("Alive; Greatest width: 12.5 cm")


def test_shares_over_a_hundred_are_asked_about_and_let_pass(slate: Phone) -> None:
    slate.tap("Live tissue", "90", "Recently dead", "20")
    expect(slate.page.locator(".in-hand .warn")).to_contain_text("more than 100 %")
    slate.go_on()
    expect(slate.page.locator(".folded.doubtful")).to_have_count(1)


def test_a_note_is_stored_as_it_is_typed_and_taken_back_as_one(slate: Phone) -> None:
    slate.tap("Note")
    slate.page.get_by_role("textbox").press_sequentially("loose tag")
    expect(slate.words).to_contain_text("loose tag")
    slate.tap("Undo")
    expect(slate.words).to_have_text("not read yet")


def test_a_read_row_folds_to_a_line_that_says_what_was_entered(slate: Phone) -> None:
    slate.go_on()
    expect(slate.page.locator(".folded.read .words")).to_contain_text("Alive, nothing wrong seen")
    expect(slate.page.locator(".folded.unread .words").first).to_contain_text("not read yet")


def test_a_folded_row_is_taken_in_hand_by_a_tap(slate: Phone) -> None:
    first = slate.tag.inner_text()
    slate.go_on()
    slate.page.locator(".folded.read").click()
    expect(slate.tag).to_have_text(first)


def test_the_dive_ended_here_marks_the_rest_as_not_searched_and_one_undo_takes_it_back(slate: Phone) -> None:
    slate.go_on().tap("More")
    slate.key("Dive ended here").click()
    expect(slate.page.locator(".total")).to_contain_text("8 of them were not searched")
    assert [row.get("searched") for row in noted(slate)] == [None] + ["no"] * 8
    slate.tap("Back to the slate", "Undo")
    expect(slate.page.locator(".folded.not_searched")).to_have_count(0)
    assert len(noted(slate)) == 1


@pytest.mark.parametrize(("sought", "row"), [("S205", "S205"), ("3", None), ("s2o5", "S205")])
def test_a_row_is_found_by_tag_by_number_and_by_a_tag_that_looks_like_it(slate: Phone, sought: str, row: str | None) -> None:
    third = slate.page.locator(".lines [role=listitem] .tag").nth(2).inner_text()
    slate.tap("More")
    slate.page.get_by_role("searchbox").fill(sought)
    slate.page.get_by_role("searchbox").press("Enter")
    expect(slate.tag).to_have_text(row or third)


def test_the_next_unread_row_is_one_tap_away(slate: Phone) -> None:
    slate.go_on().page.locator(".folded.read").click()
    slate.tap("More").key("Next unread").click()
    expect(slate.page.locator(".in-hand .sounding")).to_have_text("2")


def test_a_coral_that_is_not_listed_is_added_as_it_was_read(slate: Phone) -> None:
    slate.tap("More", "Add a coral that is not listed")
    slate.page.get_by_label("Tag, as it was read").fill("S2?9")
    slate.tap("Add")
    expect(slate.tag).to_have_text("S2?9")
    slate.tap("Alive")
    assert noted(slate) == [{"tag": "S2?9", "line": "10", "status": "alive"}]


def test_whoever_adds_a_tag_is_shown_the_rows_that_it_may_be(slate: Phone) -> None:
    slate.tap("More", "Add a coral that is not listed")
    slate.page.get_by_label("Tag, as it was read").fill("S2O5")
    slate.page.locator(".found").first.click()
    expect(slate.tag).to_have_text("S205")


def test_a_counted_plot_is_entered_by_counts(phone: Phone) -> None:
    phone.begin("Old Moorings", "OLD-11")
    phone.key("Alive: more").click()
    for name in ("Dead: less", "Missing: less"):
        phone.key(name).click()
    assert noted(phone) == [{"line": "1", "alive": "1", "dead": "0", "missing": "0"}]


def test_a_counted_genotype_without_loss_is_one_tap(phone: Phone) -> None:
    phone.begin("Old Moorings", "OLD-11")
    phone.finish.click()
    expect(phone.page.locator(".folded.read .words")).to_contain_text("Alive 12, Dead 0, Missing 0")


def test_buddies_who_split_a_counted_plot_say_which_part(phone: Phone) -> None:
    phone.begin("Old Moorings", "OLD-11").tap("The whole plot")
    expect(phone.key("Part 1 of 2")).to_be_visible()
    assert noted(phone)[0] == {"line": "1", "part": "1", "parts": "2"}


def test_last_time_shows_only_where_the_protocol_says_so(phones: Phones) -> None:
    hidden = phones().pair().begin("Old Moorings", "OLD-01")
    shown = phones().pair().begin("Old Moorings", "OLD-01", protocol="Nursery round")
    expect(hidden.page.locator(".last")).to_have_count(0)
    expect(shown.page.locator(".last")).to_contain_text("22 Oct 2026: Missing")


def test_the_tag_in_hand_is_at_least_32_pixels(slate: Phone) -> None:
    assert slate.tag.evaluate("it => parseFloat(getComputedStyle(it).fontSize)") >= 32


def test_on_a_laptop_the_slates_codes_are_typed_as_written_and_enter_goes_on(phones: Phones) -> None:
    laptop = phones(**LAPTOP, is_mobile=False, has_touch=False).pair().begin(SITE, PLOT)
    laptop.page.keyboard.type('A S 95 P 15cm "base cracked')
    expect(laptop.page.locator("#understood")).to_contain_text("Live tissue: 95 %")
    laptop.page.keyboard.press("Enter")
    expect(laptop.page.locator(".in-hand .sounding")).to_have_text("2")
    laptop.page.keyboard.type(".")
    laptop.page.keyboard.press("Enter")
    expect(laptop.page.locator(".in-hand .sounding")).to_have_text("3")
    first, second = noted(laptop)
    typed = {"status": "alive", "attachment": "solid", "live_tissue": "95", "bleaching": "pale", "size_cm": "15"}
    assert first == {"line": "1", "note": "base cracked", **typed}
    assert (second["status"], second["disease"]) == ("alive", ["none"])


def test_no_letter_is_lost_that_is_typed_while_a_row_is_on_its_way_to_the_disk(phones: Phones) -> None:
    laptop = phones(**LAPTOP, is_mobile=False, has_touch=False).pair().begin(SITE, PLOT)
    slowed = laptop.page.context.new_cdp_session(laptop.page)
    slowed.send("Emulation.setCPUThrottlingRate", {"rate": 6})
    laptop.page.keyboard.type("A\nD X\nM\nA 95\n/\n")
    slowed.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    expect(laptop.page.locator(".in-hand .sounding")).to_have_text("6")
    said = [{"status": "alive"}, {"status": "dead", "tag_state": "absent"}, {"status": "missing"}]
    said += [{"status": "alive", "live_tissue": "95"}, {"searched": "no"}]
    assert noted(laptop) == [{"line": str(i), **one} for i, one in enumerate(said, 1)]


def test_a_code_that_is_not_known_is_said_and_not_stored(phones: Phones) -> None:
    laptop = phones(**LAPTOP, is_mobile=False, has_touch=False).pair().begin(SITE, PLOT)
    laptop.page.keyboard.type("A QQ")
    laptop.page.keyboard.press("Enter")
    expect(laptop.page.locator("#understood")).to_contain_text("Not known here: QQ")
    assert noted(laptop) == []
