"""Taking data out: what is chosen stands in the address of the file, so that it can be fetched again."""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO

from flask import Blueprint, Response, render_template, request

from fieldkit.exports import FORMS, GRAINS, Scope, export
from fieldkit.exports.places import Grain
from fieldkit.reports.columns import known_labels
from fieldkit.server.asked import FILTERS, Asked
from fieldkit.server.current import current_base, current_names
from fieldkit.server.errors import NotYoursError
from fieldkit.server.kept import kept
from fieldkit.server.language import reader
from fieldkit.server.pages.survival import MOST_PLOTS, chosen
from fieldkit.server.visitor import known_visitor

pages = Blueprint("exports", __name__)

_WORDS: Mapping[Grain, str] = {"0.01": "hundredth", "0.001": "thousandth", "0.1": "tenth", "exact": "exact", "none": "none"}
"""What each grain is called in the catalogue."""
_TYPES = {
    ".zip": "application/zip",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".geojson": "application/geo+json",
    ".gpx": "application/gpx+xml",
}


@pages.get("/export")
def show() -> str:
    """What can be taken out, and of what."""
    asked = Asked(request.args)
    question = asked.question()
    asked.done()
    with current_base().view() as view:
        names = current_names(view)
        known = kept().now(view, "choices", known_labels)
    return render_template(
        "export.html",
        question=question,
        names=names,
        choices={name: known[name] for name in FILTERS},
        most_plots=MOST_PLOTS,
        chosen=chosen(question, names),
        forms=tuple(FORMS),
        grains=[(grain, _WORDS[grain]) for grain in _grains()],
        may_name=known_visitor().may("exports.show", reads=False),
    )


@pages.get("/export/file")
def file() -> Response:
    """The file itself."""
    asked = Asked(request.args)
    question = asked.question()
    form = asked.one_of("form", tuple(FORMS), "exports.no_such_form")
    grain = asked.one_of("places", _grains(), "exports.no_such_grain")
    asked.done()
    people = bool(request.args.get("people"))
    if people and not known_visitor().may("exports.file", reads=False):
        raise NotYoursError.of("exports.people_not_yours")
    base, made = current_base(), BytesIO()
    with base.view() as view:
        scope = Scope(question.where, question.as_of, grain, people)
        export(base, view, made, form, scope, language=reader().language)
    suffix = FORMS[form].suffix
    answer = Response(made.getvalue(), mimetype=_TYPES[suffix])
    answer.headers["Content-Disposition"] = f"attachment; filename={form}{suffix}"
    return answer


def _grains() -> tuple[Grain, ...]:
    """How exactly this visitor may be told places: exactly, only if they lead."""
    may = known_visitor().may("exports.file", reads=False)
    return tuple(grain for grain in GRAINS if may or grain != "exact")
