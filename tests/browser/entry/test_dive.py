"""A dive from its head to the base: who, when and where; photos; a slate photographed now and typed later; handing in."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from fieldkit.base import Base
from fieldkit.server.printing import Wanted, wanted_slates
from tests.browser.entry.conftest import MONITORING, Phone, Phones, noted

SITE, PLOT = "Ray Steps", "RAY-11"
# What the browser says of a question that the base answers with no: is any of this photo there?
NOT_THERE = "404"
WIDTH = 1200


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """A photograph, as large as a phone's."""
    path = tmp_path / "slate.jpg"
    Image.effect_noise((WIDTH, 900), 60).convert("RGB").save(path, quality=80)
    return path


def pick(phone: Phone, *pictures: Path) -> None:
    phone.page.locator("input[type=file][multiple]").first.set_input_files([str(path) for path in pictures])


def heads(phone: Phone) -> list[dict[str, object]]:
    """The heads of the sessions on the phone's disk."""
    found: list[dict[str, object]] = phone.page.evaluate("""async () => {
        const asked = (request) => new Promise((ok) => { request.onsuccess = () => ok(request.result); });
        const database = await asked(indexedDB.open("fieldkit notes"));
        const sessions = await asked(database.transaction("session").objectStore("session").getAll());
        database.close();
        return sessions.sort((a, b) => a.started_at - b.started_at).map(({ head }) => head);
    }""")
    return found


def test_the_day_is_the_clocks_until_somebody_says_otherwise_and_the_key_names_it(phones: Phones) -> None:
    phone = phones().pair()
    phone.page.clock.set_fixed_time("2026-11-12T15:00:00")
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.get_by_label("What is recorded").select_option(label=MONITORING)
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("KT")
    expect(phone.key(f"Begin {PLOT}, 12 Nov 2026")).to_be_visible()
    phone.key("Yesterday").click()
    expect(phone.key(f"Begin {PLOT}, 11 Nov 2026")).to_be_visible()


@pytest.mark.parametrize(("minutes", "is_told"), [(1, False), (3, True), (-3, True)])
def test_a_clock_two_minutes_off_is_told_when_handing_in(phones: Phones, minutes: int, is_told: bool) -> None:
    phone = phones()
    phone.page.add_init_script(turned(minutes))
    phone.pair().begin(SITE, PLOT).go_on().tap("More", "Finish the slate", "The slate is done: hand in")
    phone.page.locator(".safe").wait_for()
    expect(phone.page.get_by_text("clock and the base’s differ by 3 minutes")).to_have_count(int(is_told))


def test_a_clock_half_a_day_off_proposes_no_day_and_the_days_so_far_are_to_be_checked(phones: Phones) -> None:
    phone = phones().pair().begin(SITE, PLOT).go_on()
    phone.page.add_init_script(turned(minutes=13 * 60))
    phone.page.reload()
    phone.tap("More", "Finish the slate", "The slate is done: hand in")
    phone.key(f"Check the day: {SITE}").click()
    expect(phone.page.get_by_label("Recorder")).to_have_value("KT")
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.reload()
    expect(phone.page.locator(".still")).to_contain_text("Day of the dive")
    phone.key("Today").click()
    expect(phone.page.locator(".still")).not_to_contain_text("Day of the dive")


def turned(minutes: int) -> str:
    """A clock that was turned."""
    return f"{{ const now = Date.now; Date.now = () => now() + {minutes * 60_000}; }}"


def test_the_code_on_a_printed_slate_opens_the_same_plot(phone: Phone) -> None:
    base = Base(phone.shore.folder)
    with base.view() as view:
        site = next(id_ for id_, said in view.things("site").items() if said["name"] == SITE)
        printed = wanted_slates(base, view, Wanted(site, (), "en", f"{phone.shore.address}/enter"))
    phone.page.goto(next(slate.address for slate in printed if slate.plot == PLOT))
    phone.page.get_by_label("What is recorded").select_option(label=MONITORING)
    phone.page.get_by_label("Recorder").fill("KT")
    expect(phone.key(f"Begin {PLOT}")).to_be_visible()


def test_a_slate_does_not_begin_before_it_is_known_where_and_who(phone: Phone) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    expect(phone.page.locator(".still")).to_contain_text("Site")
    expect(phone.key("Begin")).to_have_count(0)


def test_cautions_stand_where_the_work_starts_and_nothing_has_to_be_clicked_away(phone: Phone) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    expect(phone.page.locator(".cautions")).to_contain_text("anyone may refuse a dive")
    assert phone.page.locator("dialog").count() == 0


def test_practice_and_the_measures_of_the_dive_are_kept_with_the_head(phone: Phone) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.get_by_label("What is recorded").select_option(label=MONITORING)
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("KT")
    phone.page.locator(".measures summary").click()
    phone.page.get_by_label("Water temperature, °C").fill("27.5")
    phone.key("Practice").click()
    phone.key("Begin").click()
    phone.page.locator(".in-hand").wait_for()
    assert {"practice": True, "temperature_c": "27.5"}.items() <= heads(phone)[0].items()


def test_a_temperature_that_cannot_be_true_is_not_kept(phone: Phone) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.get_by_label("What is recorded").select_option(label=MONITORING)
    phone.page.locator(".measures summary").click()
    phone.page.get_by_label("Water temperature, °C").fill("275")
    expect(phone.page.get_by_role("alert")).to_contain_text("From 5 to 45")


def test_a_second_recorder_goes_on_in_a_session_of_their_own(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on().tap("More", "Another recorder goes on")
    phone.page.get_by_label("Recorder").fill("EA")
    phone.key("Begin").click()
    expect(phone.page.locator(".count")).to_contain_text("0 of")
    assert [head["recorder"] for head in heads(phone)] == ["KT", "EA"]


def test_a_row_takes_photos_and_says_how_many(phone: Phone, picture: Path) -> None:
    phone.begin(SITE, PLOT).tap("Photo")
    pick(phone, picture)
    expect(phone.page.locator(".thumbs img")).to_have_count(1)
    phone.tap("Close").go_on()
    expect(phone.page.locator(".folded.read .with")).to_have_text("1 photo")


def test_undo_takes_back_what_was_said_and_not_the_photo(phone: Phone, picture: Path) -> None:
    phone.begin(SITE, PLOT).tap("Photo")
    pick(phone, picture)
    expect(phone.page.locator(".thumbs img")).to_have_count(1)
    phone.tap("Close").go_on().tap("Undo")
    expect(phone.words).to_have_text("not read yet")
    phone.page.reload()
    phone.page.locator("[data-opens=photo]").click()
    expect(phone.page.locator(".thumbs img")).to_have_count(1)


def test_a_photo_can_be_removed(phone: Phone, picture: Path) -> None:
    phone.begin(SITE, PLOT).tap("Photo")
    pick(phone, picture)
    phone.key("Remove photo 1").click()
    expect(phone.page.locator(".thumbs li")).to_have_count(0)


def test_a_slate_is_photographed_now_and_typed_later_beside_its_picture_by_someone_else(phones: Phones, picture: Path) -> None:
    diver = phones(expected=NOT_THERE).pair()
    diver.page.goto(f"{diver.shore.address}/enter/#photographed")
    diver.page.get_by_label("What is recorded").select_option(label=MONITORING)
    diver.page.get_by_label("Site").select_option(label=SITE)
    diver.page.get_by_label("Recorder").fill("NL")
    pick(diver, picture)
    diver.key("Done").click()
    expect(diver.page.locator("section", has_text="Slates still to be typed")).to_contain_text("NL")
    diver.tap("Hand in")
    expect(diver.page.locator(".total")).to_contain_text("Nothing is on this device only")

    typist = phones().pair()
    typist.page.locator("section", has_text="Slates still to be typed").get_by_role("button").filter(
        has_text="NL"
    ).first.click()
    typist.page.get_by_label("What is recorded").select_option(label=MONITORING)
    typist.key(PLOT).click()
    typist.page.get_by_label("Typed by").fill("EA")
    typist.key("Begin").click()
    typist.page.locator(".paper-slate img").wait_for()
    shown = typist.page.locator(".paper-slate img").evaluate("it => it.decode().then(() => it.naturalWidth)")
    assert shown == WIDTH
    head = heads(typist)[0]
    assert (head["recorder"], head["typed_by"], "types" in head) == ("NL", "EA", True)


def test_after_the_last_row_the_page_says_how_many_and_something_true_about_one(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on().go_on().tap("More", "Finish the slate")
    expect(phone.page.locator(".total")).to_have_text("2 rows are entered. Thank you.")
    expect(phone.page.locator(".fact")).to_contain_text("days old, and alive.")


def test_a_coral_that_was_missing_and_is_back_is_what_is_told(phone: Phone) -> None:
    phone.begin("Ray Steps", "RAY-05").go_through()
    expect(phone.page.locator(".fact")).to_contain_text("was missing at the last visit. Now it is back.")


def test_what_is_unread_doubtful_or_without_a_photo_is_said_and_let_pass(phones: Phones, picture: Path) -> None:
    phone = phones(expected=NOT_THERE).pair()
    phone.begin(SITE, PLOT).tap("Photo")
    pick(phone, picture)
    phone.tap("Close").go_on().tap("Live tissue", "90", "Recently dead", "20").go_on()
    phone.tap("More", "Finish the slate")
    told = phone.page.locator(".rest summary").all_inner_texts()
    assert told == ["7 rows are unread", "1 row is doubtful", "1 coral is without a photo"]
    phone.tap("The slate is done: hand in")
    expect(phone.page.locator("main.hand-in")).to_be_visible()


def test_what_was_handed_in_is_on_the_base_and_the_strip_says_so(phone: Phone) -> None:
    phone.begin("Pandanus Slope", "PAN-09", recorder="JV").go_through()
    phone.tap("The slate is done: hand in")
    expect(phone.page.locator(".foot-strip")).to_contain_text("Only here: 0 rows")
    with Base(phone.shore.folder).view() as view:
        held = view.rows('SELECT count(*) AS n FROM ledger WHERE CAST(body AS TEXT) LIKE \'%"recorder":"JV"%\'')
    assert held[0]["n"] >= 1


def test_photos_of_the_last_battery_wait_for_a_tap(phones: Phones, picture: Path) -> None:
    phone = phones(expected=NOT_THERE)
    phone.page.add_init_script("navigator.getBattery = async () => ({ level: 0.1, charging: false })")
    phone.pair().begin("Pandanus Slope", "PAN-11").tap("Photo")
    pick(phone, picture)
    phone.tap("Close").go_on().tap("More", "Finish the slate", "The slate is done: hand in")
    expect(phone.page.get_by_text("The battery is low")).to_be_visible()
    expect(phone.page.locator(".foot-strip")).to_contain_text("Only here: 0 rows, 1 photo")
    phone.key("Send 1 photo").click()
    expect(phone.page.locator(".foot-strip")).to_contain_text("Only here: 0 rows ·")


def test_a_carry_file_holds_what_is_only_here(phones: Phones, picture: Path) -> None:
    phone = phones(expected="ERR_FAILED").pair()
    phone.begin(SITE, PLOT).tap("Photo")
    pick(phone, picture)
    phone.tap("Close").go_on()
    phone.page.route("**/api/v1/**", lambda route: route.abort())
    phone.page.goto(f"{phone.shore.address}/enter/#hand_in")
    phone.page.locator(".carry summary").click()
    phone.tap("Make the file")
    with phone.page.expect_download() as saved:
        phone.tap("Save")
    with zipfile.ZipFile(io.BytesIO(Path(saved.value.path()).read_bytes())) as carried:
        assert any(info.file_size == picture.stat().st_size for info in carried.infolist())


def test_everything_speaks_spanish(phones: Phones) -> None:
    phone = phones(locale="es-MX").pair()
    assert phone.page.evaluate("document.documentElement.lang") == "es"
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.get_by_label("Qué se registra").select_option(label="Seguimiento tras el trasplante")
    phone.page.get_by_label("Sitio").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Anotó").fill("KT")
    phone.key("Empezar").click()
    expect(phone.finish).to_have_text("Vivo, sin nada malo a la vista")
    phone.go_on()
    expect(phone.page.locator(".folded.read .words")).to_contain_text("Vivo, sin nada malo a la vista")


def test_the_language_can_be_changed_and_stays(phone: Phone) -> None:
    phone.tap("Español")
    expect(phone.key("Tablilla nueva")).to_be_visible()
    phone.page.reload()
    expect(phone.key("Tablilla nueva")).to_be_visible()


def test_in_a_second_tab_the_page_says_that_only_one_writes(phone: Phone) -> None:
    other = phone.page.context.new_page()
    other.goto(f"{phone.shore.address}/enter/")
    expect(other.get_by_role("alert")).to_contain_text("open in another tab")


def test_without_a_pairing_the_page_says_what_is_missing(phones: Phones) -> None:
    phone = phones().open()
    expect(phone.page.locator("main.home")).to_contain_text("This device knows no slates yet")


def test_a_wrong_code_is_told_in_words(phones: Phones) -> None:
    phone = phones(expected="403").open()
    phone.tap("Pair with the base")
    phone.page.locator("main.pair input").first.fill("ABCD-EFGH")
    phone.page.locator("main.pair input").nth(1).fill("blue phone")
    phone.page.locator("main.pair button[type=submit]").click()
    expect(phone.page.get_by_role("alert")).to_contain_text("The base does not know that code")


def test_a_counted_plot_is_planted_by_how_many_of_a_genotype(phone: Phone) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.get_by_label("What is recorded").select_option(label="Outplanting")
    phone.page.get_by_label("Site").select_option(label="Old Moorings")
    phone.key("OLD-11").click()
    phone.page.get_by_label("Recorder").fill("KT")
    phone.key("Begin").click()
    phone.tap("Add corals")
    phone.page.get_by_label("How many").fill("12")
    phone.page.get_by_role("combobox", name="Genotype").select_option(label="AMUR-03")
    phone.tap("Two-part epoxy", "Add 12 corals")
    expect(phone.page.locator(".in-hand")).to_contain_text("12 planted")
    assert noted(phone) == [{"count": "12", "line": "1", "method": "epoxy"}]


def test_a_slate_photographed_here_is_typed_in_a_session_that_names_who_typed(phone: Phone, picture: Path) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#photographed")
    phone.page.get_by_label("What is recorded").select_option(label=MONITORING)
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("ZO")
    pick(phone, picture)
    phone.key("Done").click()
    waiting = phone.page.locator("section", has_text="Slates still to be typed").get_by_role("button", name="ZO")
    waiting.click()
    phone.page.get_by_label("Typed by").fill("EA")
    phone.key("Begin").click()
    phone.page.locator(".paper-slate img").wait_for()
    phone.tap("More").page.goto(f"{phone.shore.address}/enter/#")
    expect(waiting).to_have_count(0)
    head = heads(phone)[1]
    assert (head["recorder"], head["typed_by"], "types" in head) == ("ZO", "EA", True)


def begin_second(phone: Phone, recorder: str) -> Phone:
    phone.tap("More", "Another recorder goes on")
    phone.page.get_by_label("Recorder").fill(recorder)
    phone.key("Begin").click()
    phone.page.locator(".count").get_by_text("0").wait_for()
    return phone


def rows_to_read(phone: Phone) -> list[str]:
    return phone.page.locator(".lines [role=listitem] :is(h2 .tag, .folded > .tag)").all_inner_texts()


def test_a_second_recorder_takes_some_corals_again_unseen_and_goes_on_with_the_rest(phones: Phones) -> None:
    phone = phones().pair().begin(SITE, PLOT)
    every = rows_to_read(phone)
    for _ in range(7):
        phone.go_on()
    begin_second(phone, "EA")
    again = phone.page.locator(".lines [role=listitem]", has_text="again, without")
    assert {*rows_to_read(phone)} >= {*every[7:]}
    assert len(rows_to_read(phone)) == 2 + again.count()
    assert [head.get("repeat") for head in heads(phone)] == [None, True]


def test_on_another_phone_the_same_corals_are_taken_again(phones: Phones) -> None:
    found = []
    for recorder in ("EA", "NL"):
        phone = phones().pair()
        phone.page.goto(f"{phone.shore.address}/enter/#new")
        phone.page.get_by_label("What is recorded").select_option(label=MONITORING)
        phone.page.get_by_label("Site").select_option(label=SITE)
        phone.key(PLOT).click()
        phone.page.get_by_label("Recorder").fill(recorder)
        phone.key("Second look").click()
        phone.key("Begin").click()
        expect(phone.page.locator(".in-hand .last")).to_contain_text("again, without")
        found.append(rows_to_read(phone))
    assert found[0] == found[1] and len(found[0]) == 1


def test_what_was_noted_that_day_is_not_shown_as_last_time(phones: Phones) -> None:
    phone = phones().pair()
    for day, shown in (("2026-10-22", 0), ("2026-10-23", 1)):
        phone.page.goto(f"{phone.shore.address}/enter/#new")
        phone.page.get_by_label("What is recorded").select_option(label="Nursery round")
        phone.page.get_by_label("Site").select_option(label="Old Moorings")
        phone.key("OLD-01").click()
        phone.page.locator("input[type=date]").fill(day)
        phone.page.get_by_label("Recorder").fill("KT")
        phone.key("Begin").click()
        phone.page.locator(".in-hand").wait_for()
        expect(phone.page.locator(".last")).to_have_count(shown)


def test_short_room_is_told_before_something_finds_none(phones: Phones) -> None:
    phone = phones()
    # Told in place of the browser: Chromium tells every page that ten gigabytes are left.
    phone.page.add_init_script("navigator.storage.estimate = async () => ({ usage: 1e9, quota: 1.05e9 })")
    phone.pair().begin(SITE, PLOT).go_on()
    expect(phone.page.locator(".foot-strip [role=alert]")).to_contain_text("Only 50 MB of room left")
    assert len(noted(phone)) == 1


def test_corals_are_planted_by_a_series_of_tags_where_the_protocol_is_for_outplanting(phone: Phone) -> None:
    phone.page.goto(f"{phone.shore.address}/enter/#new")
    phone.page.get_by_label("What is recorded").select_option(label="Outplanting")
    phone.page.get_by_label("Site").select_option(label=SITE)
    phone.key(PLOT).click()
    phone.page.get_by_label("Recorder").fill("KT")
    phone.key("Begin").click()
    phone.tap("Add corals")
    phone.page.get_by_label("Tags, with their genotype").fill("S301-302, AMUR-03, S303")
    expect(phone.page.locator("form .warn")).to_contain_text("No genotype follows “S303”")
    expect(phone.page.locator("form .finish")).to_be_disabled()
    phone.page.get_by_role("combobox", name="Genotype").select_option(label="PVER-03")
    phone.tap("Cement").page.get_by_role("textbox", name="Points of attachment").fill("2")
    advice = phone.page.locator("form .warn")
    expect(advice.first).to_have_text(
        "Tag S303 is worn on that day by another coral, in RAY-07: one of the two wants another tag."
    )
    expect(advice.last).to_have_text("2 points of attachment; usual are at least 3.")
    phone.tap("Add 3 corals")
    expect(phone.words).to_have_text("Attached with: Cement; Points of attachment: 2")
    said = {"method": "cement", "points": "2"}
    assert noted(phone) == [{"tag": f"S30{i}", "line": str(i), **said} for i in (1, 2, 3)]
    phone.tap("Undo")
    expect(phone.page.locator(".count")).to_have_text("0 of 0")
