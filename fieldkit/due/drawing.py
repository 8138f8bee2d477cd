"""A draw of followed plots written down: an entry a site that says from which plots, with which seed, which were drawn; and the
plots themselves, which are followed from then on or are not. Reads only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldkit.base import Statement, View
from fieldkit.due.draw import drawn
from fieldkit.due.errors import DueError
from fieldkit.due.overview import PlotDue
from fieldkit.due.tending import taken_back
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import standing
from fieldkit.protocol.number import whole
from fieldkit.register.fields import REGISTER
from fieldkit.reports.programme.things import story_of

MOST_PLOTS = 350
"""Plots of a site among which is drawn: their ids fill an entry's 16 KiB."""


@dataclass(frozen=True)
class Draw:
    """What a draw would make of a site's plots, or made of them.

    Attributes:
        plots: those to be followed, in the order of the draw; `others`: those not to be.
        day: when it was written down; empty where it was not.
    """

    site: str
    seed: str
    each: int
    plots: tuple[str, ...]
    others: tuple[str, ...]
    id: str = ""
    day: str = ""
    who: str = ""
    session: str = ""


def draws(plots: Iterable[PlotDue], *, seed: str, each: int) -> list[Draw]:
    """What would be drawn, site by site, among the plots in which there is something to look for.

    Raises:
        DueError: there is none, or a site has too many.
    """
    by_site: dict[str, dict[str, frozenset[str]]] = {}
    for plot in plots:
        if plot.corals:
            by_site.setdefault(plot.site, {})[plot.id] = plot.genotypes
    if not by_site:
        raise DueError.of("due.nothing_to_draw")
    if (most := max(map(len, by_site.values()))) > MOST_PLOTS:
        raise DueError.of("due.too_many_plots", n=most, most=MOST_PLOTS)
    return [_draw(site, mine, seed, each) for site, mine in by_site.items()]


def _draw(site: str, plots: Mapping[str, frozenset[str]], seed: str, each: int) -> Draw:
    chosen = drawn(plots, seed=seed, each=each)
    return Draw(site, seed, each, chosen, tuple(sorted(plots.keys() - set(chosen))))


def statements(view: View, found: Sequence[Draw], *, day: str, id_of: Callable[[str], str]) -> list[Statement]:
    """What writes a draw down: the draws, and of every plot for which it changes something that it is followed, or not.

    Args:
        id_of: the id of the draw at a site.

    Raises:
        DueError: two statements contradict each other about a plot; to settle that is not a draw's to do.
    """
    said = [
        Statement(
            "draw",
            {
                "draw": id_of(one.site),
                "day": day,
                "site": one.site,
                "seed": one.seed,
                "each": str(one.each),
                "plots": list(one.plots),
                "others": list(one.others),
            },
        )
        for one in found
    ]
    for one in found:
        for plot, followed in [*((plot, "yes") for plot in one.plots), *((plot, "no") for plot in one.others)]:
            told = story_of(view, "plot", plot)
            if told.disputed:
                raise DueError.of("due.plot_disputed", plot=REGISTER["plot"].called(told.values))
            known = {name: value for name, value in told.values.items() if REGISTER["plot"].field(name)}
            said += [Statement(*one_said) for one_said in told.mended({**known, "followed": followed})]
    return said


def undone(view: View, session: str) -> list[Statement]:
    """The statements after which plots are followed as before the draws of a session; plots mended since stay as they are."""
    mine = [entry for entry in _standing(view) if entry.session == session]
    said = taken_back(mine)
    for entry in mine:
        for plot in [*_ids(entry.values.get("plots")), *_ids(entry.values.get("others"))]:
            told = story_of(view, "plot", plot)
            last = told.last()
            if last and last.entry.session == session:
                said += [Statement(*one_said) for one_said in told.undone()]
    return said


def draws_made(view: View) -> list[Draw]:
    """The draws that stand, the newest first."""
    entries = _standing(view)
    sessions = view.sessions({entry.session for entry in entries})
    found = [
        Draw(
            str(entry.values.get("site", "")),
            str(entry.values.get("seed", "")),
            whole(entry.values.get("each")) or 0,
            tuple(_ids(entry.values.get("plots"))),
            tuple(_ids(entry.values.get("others"))),
            str(entry.values.get("draw", "")),
            str(entry.values.get("day", "")),
            str(sessions[entry.session].session.values.get("recorder", "")),
            entry.session,
        )
        for entry in entries
    ]
    return sorted(found, key=lambda one: (one.day, one.id), reverse=True)


def _standing(view: View) -> list[Entry]:
    said = view.ledger.of_kind("draw")
    around = said + view.ledger.mentioning([entry.digest for entry in said])
    known = view.sessions({entry.session for entry in around})
    heads = standing(around, {id_: row.session for id_, row in known.items()}).heads
    return [entry for entry in said if entry.digest in heads]


def _ids(value: Any) -> list[str]:
    return [one for one in value if isinstance(one, str)] if isinstance(value, list) else []
