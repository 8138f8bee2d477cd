"""Which genotypes (methods, species) lose fewer corals than others at the same sites, and of which pairs that can be said."""

from fieldkit.reports.ranking.answer import Pair, Place, Ranked, Ranking, Verdict
from fieldkit.reports.ranking.ranking import LEAST_CORALS, LEAST_PLOTS, ranking

__all__ = ["LEAST_CORALS", "LEAST_PLOTS", "Pair", "Place", "Ranked", "Ranking", "Verdict", "ranking"]
