"""What went wrong, as a page in the look of the others: what happened, what it means for the data, what to do."""

from __future__ import annotations

from flask import Flask, current_app, render_template
from werkzeug.exceptions import HTTPException

from fieldkit.errors import FieldkitError
from fieldkit.server.errors import NotYoursError, StrangerError
from fieldkit.server.language import reader

Answer = tuple[str, int]

# What each is called, and what to do. Another code of the 400s is told like a 400, and of the 500s like a 500.
_TOLD = {
    400: ("pages.problem_asked_wrongly", "pages.problem_asked_wrongly_advice"),
    403: ("pages.problem_turned_away", "pages.problem_turned_away_advice"),
    404: ("pages.problem_not_here", "pages.problem_not_here_advice"),
    405: ("pages.problem_other_way", "pages.problem_other_way_advice"),
    413: ("pages.problem_too_much", "pages.problem_too_much_advice"),
    500: ("pages.problem_ours", "pages.problem_ours_advice"),
}


def tell_problems(app: Flask) -> None:
    """Answer every error with a page."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(FieldkitError, _fieldkit)
    app.register_error_handler(Exception, _unforeseen)


def _http(error: HTTPException) -> Answer:
    return _page(error.code or 500, [])


def _fieldkit(error: FieldkitError) -> Answer:
    return _page(403 if isinstance(error, (StrangerError, NotYoursError)) else 400, error.texts(reader().language))


def _unforeseen(error: Exception) -> Answer:
    current_app.logger.error("This went wrong while answering:", exc_info=error)
    return _page(500, [])


def _page(code: int, faults: list[str]) -> Answer:
    title, advice = _TOLD.get(code) or _TOLD[500 if code >= 500 else 400]
    return render_template("problem.html", code=code, title=title, advice=advice, faults=faults), code
