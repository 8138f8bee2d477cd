"""The fourth stratum: what is doubtful about sessions, by the boat days of their site, the sites of their plots and the
times of their photos."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from fieldkit.base.desk import Desk
from fieldkit.base.rows import SessionRow
from fieldkit.base.things import Thing
from fieldkit.ledger import Entry
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.questions import session_matters


def put_doubts(desk: Desk, ids: Collection[str]) -> None:
    """Compute the matters about these sessions."""
    rows = desk.state.sessions(ids)
    rulings = desk.rulings(ids, at_once=1)
    site_of = desk.state.sites_of_plots({plot for row in rows.values() for plot in row.session.plots})
    boat_days = desk.state.boat_days({row.site for row in rows.values() if row.site})
    camera_times = desk.state.camera_times(ids)
    matters = [matter for row in rows.values() for matter in _matters(desk, row, rulings, boat_days, site_of, camera_times)]
    desk.state.put_matters([f"session {id_}" for id_ in ids], matters)


def sessions_judged_by(desk: Desk, things: Iterable[Thing], entries: Iterable[Entry]) -> set[str]:
    """Sessions whose doubts may be others now that these things are.

    Args:
        entries: what was said of the things: a boat day is judged by at every site that it was ever said to be at.
    """
    plots = {id_ for kind, id_ in things if kind == "plot"}
    boat_days = {id_ for kind, id_ in things if kind == "boat_day"}
    said = [*entries, *desk.ledger.about(boat_days)]
    sites = {site for e in said if e.kind == "boat_day" and isinstance(site := e.values.get("site"), str)}
    return desk.state.sessions_with("site", sites) | desk.state.sessions_at_plots(plots)


def _matters(
    desk: Desk,
    row: SessionRow,
    rulings: Rulings,
    boat_days: Mapping[str, tuple[str, ...]],
    site_of: Mapping[str, str],
    camera_times: Mapping[str, Sequence[str]],
) -> list[Matter]:
    protocol = desk.protocol(row.protocol)
    return session_matters(
        row.session,
        rulings,
        boat_days=boat_days.get(row.site or "", ()),
        window_days=protocol.same_visit_days if protocol else 0,
        sites_of_plots={site_of[plot] for plot in row.session.plots if plot in site_of},
        camera_times=camera_times.get(row.session.id, ()),
    )
