"""Taking in a spreadsheet by page: a file, the mapping proposed for it, a try, and then the taking. The lead's alone.

The file lies in the base's folder, by its digest, from the moment it is chosen until it was taken or a day has passed. The
mapping travels in the form: as the text of its file, and as selects that lie over it.
"""

from __future__ import annotations

import time
from collections.abc import Mapping as Map
from datetime import date
from pathlib import Path
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from fieldkit.base import import_sheets, mapping_of, monitoring_protocol, proposal, saved_mappings
from fieldkit.errors import FieldkitError
from fieldkit.ledger import is_digest, sha256
from fieldkit.register.sheets import Mapping, Proposal, Taken, sheets_of, tabs_of, written_mapping
from fieldkit.register.sheets.edited import COLUMN_NAMES, edited
from fieldkit.register.sheets.mapping import DATE_ORDERS, LAYOUTS, STATUSES
from fieldkit.register.sheets.reading import MAX_BYTES
from fieldkit.server.current import current_base
from fieldkit.server.errors import NotYoursError, RequestError
from fieldkit.server.language import reader
from fieldkit.server.safety import MOST_TYPED, takes_more
from fieldkit.server.visitor import known_visitor

pages = Blueprint("imports", __name__)

_DAY_SECONDS = 24 * 60 * 60
_SHOWN = 300
"""Faults that a page lists; the command lists all. Chosen by us."""
_FIELDS = 3_000


@pages.get("/import")
def ask() -> str:
    """Choose a file."""
    _only_who_may()
    return render_template("import/choose.html", saved=saved_mappings(current_base()).names())


@pages.post("/import")
@takes_more(MAX_BYTES + MOST_TYPED, _FIELDS)
def choose() -> Response:
    """Keep the file for as long as it is looked at. Nothing in it is run, and nothing is taken yet."""
    given = request.files.get("file")
    if given is None or not given.filename:
        raise RequestError.of("imports.no_file")
    body = given.stream.read(MAX_BYTES + 1)
    file = Path(given.filename.replace("\\", "/")).name[:120]
    tabs_of(body, file=file)  # what cannot be read is told now
    digest = sha256(body)
    folder = _folder()
    folder.mkdir(exist_ok=True)
    _tidy(folder)
    (folder / digest).write_bytes(body)
    return redirect(url_for("imports.look", digest=digest, file=file, saved=request.form.get("saved") or None), 303)


@pages.get("/import/<digest>")
def look(digest: str) -> str:
    """The mapping proposed for the file, or one that was kept, column by column."""
    _only_who_may()
    body, file = _kept(digest)
    tabs = tabs_of(body, file=file)
    chosen = [tab for tab in request.args.getlist("tab") if tab in tabs] or tabs[:1]
    saved = request.args.get("saved", "")
    found = _proposal(body, file, chosen)
    mapping = found.mapping
    if saved:
        mapping = mapping_of(current_base(), saved_mappings(current_base()).read(saved), name=saved)
    return _page(digest, file, tabs, chosen, found, mapping, saved=saved)


@pages.post("/import/<digest>/try")
@takes_more(MOST_TYPED, _FIELDS)
def attempt(digest: str) -> str | tuple[str, int]:
    """Say what would be taken under the mapping as it stands in the form. Writes nothing."""
    return _with_form(digest, dry_run=True)


@pages.post("/import/<digest>/take")
@takes_more(MOST_TYPED, _FIELDS)
def take(digest: str) -> str | tuple[str, int]:
    """Take the file in, as it was tried; keep the mapping if it was given a name."""
    return _with_form(digest, dry_run=False)


def _with_form(digest: str, *, dry_run: bool) -> str | tuple[str, int]:
    body, file = _kept(digest)
    base, form = current_base(), request.form
    tabs = tabs_of(body, file=file)
    chosen = [tab for tab in form.getlist("tab") if tab in tabs] or tabs[:1]
    found = _proposal(body, file, chosen)
    name = form.get("name", "").strip()
    mapping = found.mapping
    try:
        mapping = edited(mapping_of(base, form.get("mapping", "").encode(), name=reader().text("imports.mapping")), found, form)
        if not dry_run and name:
            saved_mappings(base).save(name, written_mapping(mapping))
        taken = import_sheets(base, body, file=file, mapping=mapping, tabs=chosen, today=date.today(), dry_run=dry_run)
    except FieldkitError as error:
        return _page(digest, file, tabs, chosen, found, mapping, faults=error.texts(reader().language), saved=name), 400
    if not dry_run:
        (_folder() / digest).unlink(missing_ok=True)
        return render_template("import/taken.html", file=file, name=name, **_account(taken))
    return _page(digest, file, tabs, chosen, found, mapping, saved=name, account=_account(taken))


def _page(
    digest: str,
    file: str,
    tabs: list[str],
    chosen: list[str],
    found: Proposal,
    mapping: Mapping,
    *,
    saved: str = "",
    faults: tuple[str, ...] | list[str] = (),
    account: Map[str, Any] | None = None,
) -> str:
    with current_base().view() as view:
        protocol = monitoring_protocol(current_base(), view)
    own = [field.name for field in protocol.fields if field.name not in COLUMN_NAMES and field.kind != "tally"]
    return render_template(
        "import/mapping.html",
        digest=digest,
        file=file,
        tabs=tabs,
        chosen=chosen,
        found=found,
        mapping=mapping,
        text=written_mapping(mapping),
        held={label: (name, 0) for name, labels in mapping.columns.items() for label in labels}
        | {
            label: ("+".join(one for one, other in visit.columns.items() if other == label), number)
            for number, visit in enumerate(mapping.visits, 1)
            for label in visit.columns.values()
        },
        meant={word: state for state, words in mapping.status.items() for word in words},
        states=STATUSES,
        layouts=LAYOUTS,
        orders=DATE_ORDERS,
        names=COLUMN_NAMES,
        own=own,
        saved=saved,
        faults=faults,
        account=account,
    )


def _proposal(body: bytes, file: str, chosen: list[str]) -> Proposal:
    return proposal(current_base(), sheets_of(body, file=file, tabs=chosen[:1])[0])


def _account(taken: list[Taken]) -> dict[str, Any]:
    """Counts, and every sentence of the account, as many as a page shows."""
    language = reader().language
    lines = {name: [one.text(language) for tab in taken for one in getattr(tab, name)] for name in ("refused", "asks", "left")}
    return {
        "rows": sum(one.rows_taken for one in taken),
        "rows_refused": sum(one.rows_refused for one in taken),
        "corals": sum(one.corals for one in taken),
        "observations": sum(one.observations for one in taken),
        "lines": {name: found[:_SHOWN] for name, found in lines.items()},
        "more": {name: len(found) - _SHOWN for name, found in lines.items() if len(found) > _SHOWN},
    }


def _kept(digest: str) -> tuple[bytes, str]:
    """The file that is being looked at, and its name."""
    path = _folder() / digest
    if not is_digest(digest) or not path.is_file():
        abort(404)
    return path.read_bytes(), request.values.get("file", "")[:120] or "?"


def _folder() -> Path:
    return current_base().folder / "imports"


def _tidy(folder: Path) -> None:
    """Files that nobody came back for: they are copies of the lead's own."""
    for path in folder.iterdir():
        if path.stat().st_mtime < time.time() - _DAY_SECONDS:
            path.unlink(missing_ok=True)


def _only_who_may() -> None:
    if not known_visitor().may("imports.take", reads=False):
        raise NotYoursError.of("pages.not_yours", role=known_visitor().role)
