"""Account of what was spoilt on a boat day: no coral gets two flaws, so that each can be scored alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

from sample.boat_day import BoatDay, Flaw, photograph
from sample.conditions import ALIVE
from sample.dice import stream
from sample.past import Past
from sample.programme import SEED, Coral
from sample.slates import Row, Slate
from sample.story import Story

SINGLES = ("a1", "a2", "b1")  # slates on which single rows are spoilt
DOUBLED = (("a1", "c1"), ("b1", "c1"), ("a2", "c2"), ("a3", "c3"))  # first and second reading of the same plots


class Spoiler:
    """Spoils a boat day, row by row; keeps account of the corals that already have a flaw."""

    def __init__(self, day: BoatDay, story: Story, held: Past) -> None:
        self.day, self.story, self.held = day, story, held
        self.used: set[Coral] = {*story.taken_for_dead, *story.retagged}
        self.dice = stream(SEED, "flaws")
        self.twice = {row.single for _, again in DOUBLED for row in day.rows(again)}

    def take(self, rows: list[Row], fits: Callable[[Row], bool] = lambda _: True) -> Row:
        """One of the rows whose coral has no flaw yet: by chance, from the plots that have fewest so far."""
        spoilt = Counter(coral.plot for coral in self.used)
        free = [row for row in rows if row.coral and row.coral not in self.used and fits(row)]
        fewest = min(spoilt[row.single.plot] for row in free)
        row = self.dice.choice([row for row in free if spoilt[row.single.plot] == fewest])
        self.used.add(row.single)
        return row

    def once(self, *names: str) -> list[Row]:
        """Rows of corals that only one session observed."""
        return [row for row in self.day.rows(*(names or SINGLES)) if row.coral not in self.twice]

    def take_pair(self, fits: Callable[[Row], bool]) -> tuple[Row, Row]:
        """A row and the living neighbour below it, neither with a flaw yet."""
        row = self.take(self.once(), lambda row: fits(row) and self._neighbour(row) is not None)
        other = self._neighbour(row)
        if other is None:
            raise LookupError("the row was chosen for its neighbour")
        self.used.add(other.single)
        return row, other

    def slate(self, row: Row) -> Slate:
        return next(slate for slate in self.day.slates.values() if row in slate.rows)

    def photograph(self, row: Row) -> None:
        """Make sure that a photo shows what the row should have said."""
        slate = self.slate(row)
        photograph(next(name for name, one in self.day.slates.items() if one is slate), slate, row, self.story)

    def tags_of_plot(self, row: Row) -> set[str | None]:
        return {self.story.tag(fate.coral) for fate in self.story.rings[row.single.plot.name]}

    def doubles(self) -> list[tuple[Row, Row]]:
        """The two readings of each coral that two recorders took."""
        pairs = []
        for first, again in DOUBLED:
            of = {row.coral: row for row in self.day.rows(first)}
            pairs += [(of[row.coral], row) for row in self.day.rows(again) if row.coral in of]
        return pairs

    def take_double(self, status: str) -> tuple[Row, Row]:
        firsts = {pair[0]: pair for pair in self.doubles()}
        return firsts[self.take(list(firsts), lambda row: row.values.get("status") == status)]

    def plant(self, kind: str, matter: str | None, says: str, **of: Any) -> None:
        rows = of.get("rows", ())
        corals = of.pop("corals", tuple(dict.fromkeys(row.coral for row in rows if row.coral)))
        self.day.flaws.append(Flaw(kind, matter, says, corals=corals, **of))

    def _neighbour(self, row: Row) -> Row | None:
        """The next row, if it is of the same plot, alive, and has no flaw yet."""
        rows = self.slate(row).rows
        below = next(iter(rows[rows.index(row) + 1 :]), None)
        if below is None or below.values["plot"] != row.values["plot"] or below.values.get("status") != ALIVE:
            return None
        return None if below.single in self.used | self.twice else below


def is_alive(row: Row) -> bool:
    """Whether the slate says that the coral is alive."""
    return row.values.get("status") == ALIVE
