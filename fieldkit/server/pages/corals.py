"""Corals found by what they are called and where they stand, and the life of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from flask import Blueprint, abort, render_template, request

from fieldkit.base import View
from fieldkit.errors import Fault, raise_all
from fieldkit.ledger import is_id
from fieldkit.reports.corals import CoralLife, Picture, Wanted, coral_life, find
from fieldkit.reports.corals.find import Places
from fieldkit.reports.lookalikes import Shows, claimed_besides
from fieldkit.reports.matters import called
from fieldkit.server import size_chart
from fieldkit.server.current import current_base, current_names
from fieldkit.server.errors import RequestError
from fieldkit.server.life_words import LifeWords

pages = Blueprint("corals", __name__)

FATES = ("alive", "dead", "missing", "withdrawn", "not_seen")
KEYS = ("tag", "plot", "genotype", "site", "fate")
LONGEST = 100
"""Signs of a name that is looked for: more than any tag, plot or accession has. Chosen by us."""


@pages.get("/corals")
def show() -> str:
    """A list of corals; what is looked for and the page stand in the address."""
    wanted, page = _asked(request.args)
    with current_base().view() as view:
        names, places = current_names(view), Places(view)
        found = find(view, wanted, page)
    return render_template(
        "corals.html",
        found=found,
        wanted=wanted,
        sites=sorted(set(places.sites.values())),
        genotypes=sorted({places.genotype(id_) for id_ in places.genotypes}),
        fates=FATES,
        names=names,
        given={name: value for name in KEYS if (value := getattr(wanted, name))},
        longest=LONGEST,
    )


@pages.get("/corals/<id_>")
def life(id_: str) -> str:
    """One coral."""
    if not is_id(id_):
        abort(404)
    base = current_base()
    with base.view() as view:
        names = current_names(view)
        found = coral_life(view, id_, base.protocol, date.today())
        if found is None:
            abort(404)
        corals = _named_in(view, found)
        besides = claimed_besides(view, base.looks, {picture.photo for picture in found.pictures})
    if found.protocol:  # other protocols may have a field of that name, under another label
        names = replace(names, protocols=(found.protocol, *names.protocols))
    return render_template(
        "coral.html",
        life=found,
        coral=found.listed,
        curve=size_chart.curve(found.sizes),
        chart=size_chart,
        pictures=_alike_together(found.pictures, besides),
        anothers={photo: [one for one in told if one.coral != id_] for photo, told in besides.items()},
        held={picture.photo for picture in found.pictures if base.photos.has(picture.photo)},
        words=LifeWords(found, names, corals),
        names=names,
    )


def _alike_together(pictures: list[Picture], besides: Mapping[str, Iterable[Shows]]) -> list[tuple[Picture, Picture | None]]:
    """The pictures in order of days; one that shows the same as another comes right after it, and names it."""
    found: dict[str, tuple[Picture, Picture | None]] = {}
    for picture in pictures:
        if picture.photo not in found:
            found[picture.photo] = (picture, None)
            same = {one.photo for one in besides[picture.photo]}
            found |= {other.photo: (other, picture) for other in pictures if other.photo in same and other.photo not in found}
    return list(found.values())


def _asked(given: Mapping[str, str]) -> tuple[Wanted, int]:
    """What a page's address asks for.

    Raises:
        RequestError: names every word and value that is not known.
    """
    wanted = Wanted(**{name: given.get(name, "").strip() for name in KEYS})
    page = given.get("page", "1")
    faults = []
    if wanted.fate and wanted.fate not in FATES:
        faults.append(Fault("corals.no_fate", {"value": wanted.fate[:LONGEST], "known": ", ".join(FATES)}))
    if any(len(getattr(wanted, name)) > LONGEST for name in KEYS):
        faults.append(Fault("corals.too_long", {"most": LONGEST}))
    if not (page.isascii() and page.isdigit() and 0 < len(page) < 8):
        faults.append(Fault("corals.no_page", {"value": page[:LONGEST]}))
    raise_all(RequestError, faults)
    return wanted, int(page)


def _named_in(view: View, life: CoralLife) -> dict[str, str]:
    """What the corals are called that rulings name."""
    ids = {str(matter.ruled.keys.get("coral")) for matter in life.matters if matter.ruled}
    return {row["id"]: called(row) for row in view.corals(ids)}
