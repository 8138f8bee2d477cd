"""Slates from a base: what is known of a site's plots, put together for whoever prints, by page or by command."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fieldkit.base import Base, View, monitoring_protocol
from fieldkit.reports.sheets import last_notes
from fieldkit.reports.slates import snapshot
from fieldkit.slates import Asked, Slate, SlatesError, slates


@dataclass(frozen=True)
class Wanted:
    """What is to be printed. Without plots, all of the site on which there is something to look for.

    `address` is the entry page's; `blind` leaves out what was seen last time, and None does as the protocol says.
    """

    site: str
    plots: tuple[str, ...]
    language: str
    address: str
    day: date | None = None
    blind: bool | None = None


def wanted_slates(base: Base, view: View, wanted: Wanted) -> list[Slate]:
    """The slates, a plot each, in the order in which a person counts plots.

    Raises:
        SayError: no monitoring protocol is adopted.
        SlatesError: nothing is to be looked for there, or a plot is not the site's.
    """
    known = register(base, view)
    plots = plots_to_print(known["plots"], wanted.site, wanted.plots)
    site = next((one.get("name", "") for one in known["sites"] if one["site"] == wanted.site), wanted.site)
    if strangers := set(wanted.plots) - {plot["plot"] for plot in plots}:
        raise SlatesError.of("slates.no_plot", site=site, plots=", ".join(sorted(strangers)))
    if not plots:
        raise SlatesError.of("slates.nothing", site=site)
    asked = Asked(
        monitoring_protocol(base, view),
        tuple(plot["plot"] for plot in plots),
        wanted.language,
        wanted.address,
        day=wanted.day,
        blind=wanted.blind,
        notes=last_notes(view),
    )
    return slates(known, asked)


def register(base: Base, view: View) -> dict[str, Any]:
    """What devices draw their slates from."""
    return snapshot(view, [one for digest in base.protocols.digests() if (one := base.protocol(digest))])


def plots_to_print(plots: Sequence[dict[str, Any]], site: str, named: Collection[str] = ()) -> list[dict[str, Any]]:
    """Of a register's plots those of a site: the named ones, or else those where something is to be looked for."""
    here = [plot for plot in plots if plot.get("site") == site]
    return [plot for plot in here if (plot["plot"] in named if named else plot["corals"] or plot.get("groups"))]
