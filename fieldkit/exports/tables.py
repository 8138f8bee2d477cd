"""All tables of a programme: one row is one thing, one column one fact."""

from __future__ import annotations

from fieldkit.exports.corals import corals, counts, visits
from fieldkit.exports.noted import actions, observations, photos, sessions
from fieldkit.exports.programme import Programme
from fieldkit.exports.register import events, genotypes, lots, plots, sites
from fieldkit.exports.table import Table


def tables(programme: Programme) -> tuple[Table, ...]:
    """All tables, in the order in which they are read best."""
    return (
        corals(programme),
        visits(programme),
        counts(programme),
        observations(programme),
        sessions(programme),
        actions(programme),
        photos(programme),
        sites(programme),
        plots(programme),
        genotypes(programme),
        lots(programme),
        events(programme),
    )
