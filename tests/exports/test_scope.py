"""What goes out is what was chosen: which corals, as of which day, and of places and people no more than was said."""

from __future__ import annotations

import math
from datetime import date
from decimal import Decimal
from io import BytesIO
from zipfile import ZipFile

import pytest

from fieldkit.base import Base
from fieldkit.exports import ExportError, Scope, export
from fieldkit.exports.places import half_a_cell, position
from tests.exports.conftest import TakenOut
from tests.exports.test_outside_readers import rows_of

SITE = {"name": "A", "latitude": "-6.93502", "longitude": "167.91120", "uncertainty_m": "8"}


@pytest.mark.parametrize(("step", "metres"), [(0.001, 75), (0.01, 750), (0.1, 7500)])
def test_rounding_moves_a_place_by_at_most_half_the_diagonal_of_a_cell(step: float, metres: int) -> None:
    # Computed for 24.5 degrees north: about 75 m, 750 m, 7.5 km; the formula is that of Chapman & Wieczorek 2020,
    # Georeferencing Best Practices, doi:10.15468/doc-gg7h-s853 (from memory), on a sphere.
    assert half_a_cell(24.5, step) == pytest.approx(metres, rel=0.02)


def test_a_rounded_place_lies_on_the_grid_and_its_circle_holds_the_true_one() -> None:
    found = position(SITE, "0.01")
    assert found is not None and (found.latitude, found.longitude) == (Decimal("-6.94"), Decimal("167.91"))
    north = (float(found.latitude) + 6.93502) * 111_195
    east = (float(found.longitude) - 167.91120) * 111_195 * math.cos(math.radians(6.93502))
    assert math.hypot(north, east) + 8 <= (found.uncertainty_m or 0) <= 800


def test_a_place_is_exact_only_where_that_was_chosen(taken_out: TakenOut) -> None:
    def told(**scope: str) -> set[str]:
        return {row["latitude"] for row in rows_of(taken_out("csv", **scope), "sites")}

    assert told() == {"-6.91", "-6.94", "-6.93", "-6.90"}
    assert "-6.93502" in told(places="exact")
    assert told(places="none") == {""}


def test_no_form_lets_an_exact_place_slip_out(taken_out: TakenOut, base: Base) -> None:
    with base.view() as view:
        exact = [str(said[name]) for said in view.things("site").values() for name in ("latitude", "longitude")]
    for form in ("csv", "darwin-core", "geojson", "gpx"):
        made = taken_out(form)
        if made[:2] == b"PK":
            with ZipFile(BytesIO(made)) as packed:
                made = b"".join(packed.read(name) for name in packed.namelist())
        assert not [one for one in exact if one.rstrip("0").encode() in made], form


def test_how_to_find_a_plot_goes_out_with_exact_places_alone(taken_out: TakenOut) -> None:
    assert {row["landmark"] for row in rows_of(taken_out("csv"), "plots")} == {""}
    assert {row["landmark"] for row in rows_of(taken_out("csv", places="exact"), "plots")} != {""}


def test_nobody_is_named_unless_that_was_chosen_and_they_consented(taken_out: TakenOut, base: Base) -> None:
    with base.view() as view:
        people = view.things("person").values()
        willing = {said["initials"] for said in people if said.get("consent") == "yes"}
        others = {said["initials"] for said in people} - willing
    assert willing and others
    for table in ("observations", "sessions"):
        assert {row["recorder"] for row in rows_of(taken_out("csv"), table)} == {""}
        named = {row["recorder"] for row in rows_of(taken_out("csv", people=True), table)} - {""}
        assert named and named <= willing
    assert {row["note"] for row in rows_of(taken_out("csv"), "observations")} == {""}
    others = [row["other"] for table in ("observations", "sessions") for row in rows_of(taken_out("csv"), table)]
    assert not [one for one in others for name in ("recorder", "typed_by", "buddy", "note") if f"{name}=" in one]


def test_a_scope_holds_the_corals_of_its_site_alone(base: Base) -> None:
    file = BytesIO()
    with base.view() as view:
        export(base, view, file, "csv", Scope({"site": "ray steps"}))
    made = file.getvalue()
    for table in ("corals", "visits", "observations", "sessions", "actions", "sites", "plots", "events"):
        assert {row["site"] for row in rows_of(made, table)} == {"Ray Steps"}, table


def test_as_of_a_day_nothing_later_goes_out(base: Base) -> None:
    file = BytesIO()
    with base.view() as view:
        export(base, view, file, "csv", Scope(as_of=date(2025, 3, 1)))
    days = [row["seen_on"] for table in ("visits", "observations", "sessions") for row in rows_of(file.getvalue(), table)]
    assert max(days) <= "2025-03-01" and len(days) > 100


@pytest.mark.parametrize(
    ("form", "table", "why"), [("ods", None, "ods"), ("xlsx", "corals", "xlsx"), ("csv", "coral", "coral")]
)
def test_what_there_is_not_is_refused_with_what_there_is(base: Base, form: str, table: str | None, why: str) -> None:
    with base.view() as view, pytest.raises(ExportError, match=why):
        export(base, view, BytesIO(), form, table=table)


def test_a_label_or_a_grain_that_is_none_is_refused() -> None:
    with pytest.raises(ExportError, match="genet"):
        Scope({"genet": "A"})
    with pytest.raises(ExportError, match=r"0\.5"):
        Scope(places="0.5")  # type: ignore[arg-type]
