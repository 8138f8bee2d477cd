"""How far recorders agree: by field, recorder by recorder, month by month. A page for training, not for blame."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from flask import Blueprint, render_template, request

from fieldkit.reports.agreement import Agreement, FieldAgreement, Month, agreement
from fieldkit.reports.agreement.compared import LEVEL
from fieldkit.server.current import current_base, current_names
from fieldkit.server.errors import RequestError

pages = Blueprint("agreement", __name__)

VISITS_AT_ONCE = 12  # the rest a fold away. Chosen by us.


@pages.get("/agreement")
def show() -> str:
    """The page; which field is told recorder by recorder stands in its address."""
    base = current_base()
    with base.view() as view:
        names = current_names(view)
        found = agreement(view, base.protocol)
    if found.protocol:  # other protocols may have a field of that name, under another label
        names = replace(names, protocols=(found.protocol, *names.protocols))
    shown = _field(found, request.args.get("field"))
    months = sorted({month.month for told in found.drift.values() for month in told}, reverse=True)
    return render_template(
        "agreement.html",
        found=found,
        shown=shown,
        compared=sum(one.everyone.n for one in found.fields),
        agreeing=sum(one.everyone.agree for one in found.fields),
        months=months,
        by_month={who: _by_month(told) for who, told in found.drift.items()},
        of_field={one.recorder: _by_month(one.months) for one in shown.recorders} if shown else {},
        pair_rows=[(" · ".join(pair), told) for pair, told in shown.pairs.items()] if shown else [],
        recorder_rows=[(one.recorder, one.compared) for one in shown.recorders] if shown else [],
        level=LEVEL,
        names=names,
        visits_at_once=VISITS_AT_ONCE,
    )


def _by_month(months: Iterable[Month]) -> dict[str, Month]:
    return {month.month: month for month in months}


def _field(found: Agreement, asked: str | None) -> FieldAgreement | None:
    """The field asked for; without a word the one that agrees least, since most is to be learnt from it."""
    if asked is None:
        return min(found.fields, key=lambda one: one.everyone.share, default=None)
    for one in found.fields:
        if one.field.name == asked:
            return one
    known = ", ".join(one.field.name for one in found.fields)
    raise RequestError.of("agreement.no_field", value=asked[:80], known=known or "-")
