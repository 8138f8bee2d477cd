"""What happened to single corals besides living and dying: renewed tags, withdrawals, a diver's mistake that nobody noticed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from sample.fates import Fate
from sample.programme import ROUNDS, Coral, Round

RETAGGED_IN, WITHDRAWN_IN, MISTAKEN_IN = ROUNDS[2], ROUNDS[3], ROUNDS[4]


@dataclass(frozen=True)
class Story:
    """The corals to which something happened, by name of plot the rings that they stand in.

    `retagged` got a new tag at month 6, since the old one was overgrown. `withdrawn` were taken whole at month 12, to test what
    they are. `taken_for_dead` lived, bleached white, and were written down as dead at month 18.
    """

    rings: Mapping[str, Sequence[Fate]]
    retagged: Mapping[Coral, str]
    withdrawn: frozenset[Coral]
    taken_for_dead: frozenset[Coral]

    def tag(self, coral: Coral) -> str | None:
        """The tag that the coral wears from month 6 on."""
        return self.retagged.get(coral, coral.tag)

    def followed(self, plot: str, planned: Round) -> list[Fate]:
        """Those of a plot that are still looked at in a round, in order of position."""
        ring = self.rings.get(plot, ())
        late = ROUNDS.index(planned) > ROUNDS.index(WITHDRAWN_IN)
        return [fate for fate in ring if fate.coral.plot.followed and not (late and fate.coral in self.withdrawn)]


def tell(fates: Sequence[Fate]) -> Story:
    """Choose the corals: always of those that live in their places to the end, so that the story changes no fate."""
    lasting: dict[str, list[Coral]] = defaultdict(list)
    for fate in fates:
        if fate.died_on is None and fate.left_on is None:
            lasting[fate.coral.plot.name].append(fate.coral)
    retagged = [lasting[plot][-1] for plot in ("LAN-04", "PAN-05", "RAY-07")]
    return Story(
        rings={name: tuple(ring) for name, ring in groupby(fates, key=lambda fate: fate.coral.plot.name)},
        retagged={coral: f"{coral.plot.site.tag_letter}30{number}" for number, coral in enumerate(retagged, start=1)},
        withdrawn=frozenset((lasting["LAN-12"][0], lasting["RAY-09"][0])),
        taken_for_dead=frozenset((lasting["LAN-06"][1], lasting["PAN-01"][1])),
    )
