"""Photos that cannot be of their session's dive, by the camera's own clock, and the ruling that puts the clock right."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fieldkit.ledger import Entry, mint
from fieldkit.ledger.fold import Session
from fieldkit.settle.camera import doubt_about_photos, offset_of
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.questions import session_matters
from tests.support.programme import name

DAY = "2026-11-10"
SESSION = Session(
    name("session"), name("device"), "crew", {"day": DAY, "site": "amo"}, opening=(name("opening"),), has_observations=True
)
BY_DAY, BY_NIGHT = f"{DAY}T09:31:07", "2026-11-09T21:31:07"


def ruling(answer: str, kind: str = "photo_time", **keys: Any) -> Entry:
    values = {"matter": kind, "of": [SESSION.id], "answer": answer, **keys}
    return mint("ruling", device=name("device"), session=name("lead"), seq=1, at=0, values=values)


def asked(*rulings: Entry, camera_times: tuple[Any, ...] = (BY_NIGHT,), boat_days: tuple[str, ...] = ()) -> list[Matter]:
    told = {"boat_days": boat_days, "window_days": 1, "sites_of_plots": ("amo",), "camera_times": camera_times}
    return session_matters(SESSION, Rulings(rulings), **told)


@pytest.mark.parametrize("told", [BY_DAY, f"{DAY}T05:00:00", f"{DAY}T19:59:59"])
def test_a_photo_of_the_day_by_daylight_is_no_matter(told: str) -> None:
    assert doubt_about_photos(date.fromisoformat(DAY), [told]) is None


@pytest.mark.parametrize("told", ["2026-11-11T09:31:07", "2025-11-10T09:31:07", f"{DAY}T20:00:00", f"{DAY}T02:17:07"])
def test_a_photo_of_another_day_or_of_the_night_is_one(told: str) -> None:
    why = doubt_about_photos(date.fromisoformat(DAY), [BY_DAY, told])
    assert why is not None and (why.data["n"], why.data["photos"]) == (1, 2)


@pytest.mark.parametrize("told", [None, "", "yesterday", "2026-11-10", "2026-02-30T09:00:00", f"{DAY}T09:31:07Z", 3])
def test_what_is_no_time_tells_nothing(told: Any) -> None:
    assert doubt_about_photos(date.fromisoformat("2020-01-01"), [told]) is None


def test_all_photos_of_a_session_are_one_matter() -> None:
    (matter,) = asked(camera_times=(BY_NIGHT, "2026-11-09T21:40:00"))
    assert (matter.kind, matter.of, matter.answers) == ("photo_time", (SESSION.id,), ("clock", "stands"))


def test_an_offset_settles_it() -> None:
    given = ruling("clock", offset_s="43200")
    (matter,) = asked(given)
    assert matter.ruling == given.digest


@pytest.mark.parametrize("offset", ["", "twelve hours", "1.5", None, "9" * 20])
def test_an_offset_that_cannot_be_read_settles_nothing(offset: Any) -> None:
    (matter,) = asked(ruling("clock", offset_s=offset))
    assert matter.is_open


def test_a_dive_by_night_may_stand() -> None:
    given = ruling("stands")
    assert asked(given)[0].ruling == given.digest


def test_while_the_day_is_in_question_its_photos_are_not() -> None:
    assert [matter.kind for matter in asked(boat_days=("2026-11-20",))] == ["date"]


def test_photos_are_held_against_the_day_as_it_was_settled() -> None:
    told = asked(ruling("day", "date", day="2026-11-09"), camera_times=("2026-11-09T09:00:00",), boat_days=("2026-11-09",))
    assert [matter.kind for matter in told if matter.is_open] == []


def test_practice_is_not_asked_about() -> None:
    practice = replace(SESSION, values={**SESSION.values, "practice": True})
    told = {"boat_days": (), "window_days": 1, "sites_of_plots": ("amo",), "camera_times": (BY_NIGHT,)}
    assert not session_matters(practice, Rulings(()), **told)


@pytest.mark.parametrize(("text", "seconds"), [("38840", 38840), ("-60", -60), ("0", 0), ("--1", None), ("1e3", None)])
def test_an_offset_is_whole_seconds(text: str, seconds: int | None) -> None:
    assert offset_of(text) == seconds
