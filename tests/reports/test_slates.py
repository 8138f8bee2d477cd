"""What a device gets to draw its slates: corals that a diver should look for, as they were last settled, in slate order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base
from fieldkit.reports.slates import snapshot
from tests.support.programme import Book, Reef, base_of, name

DAYS = ("2024-06-01", "2024-07-01", "2024-08-01", "2024-09-01")


def of(base: Base) -> dict[str, Any]:
    with base.view() as view:
        return snapshot(view, [one for digest in base.protocols.digests() if (one := base.protocol(digest))])


def told(tmp_path: Path, reef: Reef) -> dict[str, Any]:
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    base.adopt(reef.protocol)
    return of(base)


def corals(found: dict[str, Any], plot: str = "A") -> dict[str, Any]:
    """By tag, in slate order."""
    return {one["tag"]: one for it in found["plots"] if it["name"] == plot for one in it["corals"]}


def seen(reef: Reef, tag: str, *states: str, **values: Any) -> None:
    """One state a visit, from the first on."""
    for day, state in zip(DAYS, states, strict=False):
        reef.see(reef.dive(f"KT{tag}", day), tag, state, **values)


def test_corals_stand_as_a_person_counts(tmp_path: Path) -> None:
    assert list(corals(told(tmp_path, Reef({"A": 11})))) == [str(100 + n) for n in range(1, 12)]


def test_what_was_seen_last_is_told_with_its_values(tmp_path: Path) -> None:
    reef = Reef()
    seen(reef, "101", "alive", "alive", size_cm="12.5")
    last = corals(told(tmp_path, reef))["101"]["last"]
    assert (last["day"], last["status"], last["searched_missing"]) == (DAYS[1], "alive", 0)
    assert last["values"] == {"status": "alive", "size_cm": "12.5"}


def test_a_coral_that_nobody_saw_yet_is_to_be_looked_for(tmp_path: Path) -> None:
    assert corals(told(tmp_path, Reef()))["101"]["last"] is None


def test_a_dead_coral_is_left_off(tmp_path: Path) -> None:
    reef = Reef()
    seen(reef, "101", "alive", "dead")
    assert list(corals(told(tmp_path, reef))) == ["102", "103"]


@pytest.mark.parametrize(
    ("states", "is_on"),
    [
        (("missing",), True),
        (("missing", "missing"), False),
        (("missing", "alive", "missing"), True),
        (("missing", "missing", "alive"), True),
        (("alive", "missing", "missing"), False),
    ],
)
def test_a_missing_coral_is_looked_for_until_two_visits_found_nothing(
    tmp_path: Path, states: tuple[str, ...], is_on: bool
) -> None:
    reef = Reef()
    seen(reef, "101", *states)
    assert ("101" in corals(told(tmp_path, reef))) == is_on


def test_a_coral_that_was_taken_away_is_left_off(tmp_path: Path) -> None:
    reef = Reef()
    reef.lead("lead").say("coral", {"coral": reef.coral("101"), "withdrawn_on": "2024-05-01"})
    assert "101" not in corals(told(tmp_path, reef))


def photographed(book: Book, row: str | None, digest: str, view: str = "whole") -> None:
    shown = {"photo": digest, "bytes": 1, "type": "image/jpeg", "view": view}
    book.say("photo", shown | ({"row": row} if row else {}))


def test_first_and_newest_photo_are_told_by_the_days_of_their_sessions(tmp_path: Path) -> None:
    reef = Reef()
    for day, digest in ((DAYS[1], "b" * 64), (DAYS[0], "c" * 64), (DAYS[2], "a" * 64)):
        dive = reef.dive("KT", day)
        photographed(dive, reef.see(dive, "101").values["row"], digest)
    assert corals(told(tmp_path, reef))["101"]["photos"] == {"first": "c" * 64, "newest": "a" * 64}


def test_a_photo_of_the_planting_is_the_first(tmp_path: Path) -> None:
    reef = Reef()
    photographed(next(book for book in reef.books if book.session == name("session", "planting")), reef.coral("102"), "d" * 64)
    assert corals(told(tmp_path, reef))["102"]["photos"] == {"first": "d" * 64, "newest": "d" * 64}


def test_a_photo_of_a_row_that_was_taken_back_shows_nothing(tmp_path: Path) -> None:
    reef = Reef()
    dive = reef.dive("KT", DAYS[0])
    row = reef.see(dive, "101")
    photographed(dive, row.values["row"], "a" * 64)
    dive.say("retract", {}, [row.digest])
    assert corals(told(tmp_path, reef))["101"]["photos"] is None


def test_a_photographed_slate_waits_until_somebody_types_it(tmp_path: Path) -> None:
    reef = Reef()
    picture = reef.dive("KT", DAYS[0])
    photographed(picture, None, "e" * 64, "slate")
    waiting = told(tmp_path / "before", reef)["slates"]
    reef.see(reef.dive("RS", DAYS[1], types=picture.session), "101")
    assert [one["photos"] for one in waiting] == [["e" * 64]]
    assert told(tmp_path / "after", reef)["slates"] == []


def test_a_session_with_rows_of_its_own_waits_for_nobody(tmp_path: Path) -> None:
    reef = Reef()
    dive = reef.dive("KT", DAYS[0])
    reef.see(dive, "101")
    photographed(dive, None, "e" * 64, "slate")
    assert told(tmp_path, reef)["slates"] == []


def test_a_protocol_is_told_with_its_fields_and_what_all_well_means(tmp_path: Path) -> None:
    (protocol,) = told(tmp_path, Reef())["protocols"]
    status = next(field for field in protocol["fields"] if field["name"] == "status")
    assert (protocol["current"], protocol["all_well"]["status"]) == (True, "alive")
    assert [value["code"] for value in status["values"]] == ["A", "D", "M"] and status["required"]


def test_a_protocol_that_was_not_adopted_is_not_offered(tmp_path: Path) -> None:
    reef = Reef()
    assert of(base_of(tmp_path / "base", reef.entries(), [reef.protocol]))["protocols"] == []


def test_what_is_not_known_is_not_told(tmp_path: Path) -> None:
    (site,) = told(tmp_path, Reef())["sites"]
    assert site == {"site": name("site"), "name": "Amo"}


def test_cautions_come_in_every_language(tmp_path: Path) -> None:
    cautions = told(tmp_path, Reef())["cautions"]
    assert {language: len(sentences) for language, sentences in cautions.items()} == {"en": 3, "es": 3}
