"""A boat day with histories that cannot be, planted one by one among rows whose tags are misread now and then."""

from __future__ import annotations

from dataclasses import dataclass, field

from fieldkit.ledger import derived_id
from fieldkit.protocol import Protocol
from settling.misreads import misread
from settling.programme import BEFORE, PLANTED, Coral, Plot, Programme, Session, noted, programme

LATER, GONE = "2026-01-15", "2026-02-01"
# Of May 1: day and month exchanged; another year, the second in the future; another month; another day of the month.
WRONG_DAYS = {"2026-01-05": "wrong day", "2025-05-02": "wrong day", "2027-05-01": "in the future", "2026-03-01": "wrong day"}


KINDS = {
    "alive after dead": {"history"},
    "grown too fast": {"size", "history"},
    "neighbours exchanged": {"history", "size"},
    "seen before planted": {"history"},
    "seen after withdrawn": {"history"},
    "dead on the day planted": {"history"},
    "wrong day": {"date"},
    "in the future": {"date"},
    "wrong site": {"site"},
}
"""Of each sort the kinds of matter that tell of it."""


@dataclass
class Planted:
    """What was planted: of each sort the digests of its rows with their corals, or ids of its sessions."""

    of: dict[str, list[tuple[str, ...]]] = field(default_factory=dict)

    def add(self, sort: str, *names: str) -> None:
        self.of.setdefault(sort, []).append(names)


def day_of_impossible(seed: int, rate: float, protocol: Protocol) -> tuple[Programme, Planted]:
    """The day, and what of it cannot be."""
    day, planted = programme(seed, protocol), Planted()
    wrong_days = iter(WRONG_DAYS)
    for plot in day.plots:
        sort = plot.number % 10
        values = {}
        if sort == 8 and (wrong := next(wrong_days, None)):
            values = {"day": wrong}
        elif sort == 9:
            values = {"site": next(other.site for other in day.plots if other.site != plot.site)}
        session = day.dive(plot, f"dive {plot.number}", **values)
        if "day" in values:
            planted.add(WRONG_DAYS[values["day"]], session.id)
        elif "site" in values:
            planted.add("wrong site", session.id)
        _register(day, plot, sort, planted)
        _rows(day, plot, sort, session, rate, planted)
    return day, planted


def _register(day: Programme, plot: Plot, sort: int, planted: Planted) -> None:
    """Corals planted later, withdrawn, or found dead as they were planted."""
    site, plot_no, protocol = plot.site, plot.number, day.protocol.digest
    if sort == 5:
        coral = Coral(derived_id("coral", f"later {plot_no}"), plot.id, f"X{plot_no}", len(plot.corals), 10, alive=True)
        replanted = Session(day.past, f"later {plot_no}", role="lead", site=site, day=LATER)
        replanted.say("planting", {"row": coral.id, "plot": plot.id, "tag": coral.tag, "position": "11"})
        early = Session(day.past, f"early {plot_no}", site=site, day=BEFORE, recorder="KA", protocol=protocol)
        seen = early.say("observation", {"coral": coral.id, "plot": plot.id, **noted(day.dice, coral)})
        planted.add("seen before planted", seen.digest, coral.id)
    elif sort == 6:
        lead = Session(day.past, f"gone {plot_no}", role="lead")
        lead.say("coral", {"coral": plot.corals[4].id, "withdrawn_on": GONE, "why": "moved"})
    elif sort == 7:
        dead = Session(day.past, f"dead {plot_no}", site=site, day=PLANTED, recorder="KA", protocol=protocol)
        seen = dead.say("observation", {"coral": plot.corals[3].id, "plot": plot.id, "status": "dead"})
        planted.add("dead on the day planted", seen.digest, plot.corals[3].id)


def _rows(day: Programme, plot: Plot, sort: int, session: Session, rate: float, planted: Planted) -> None:
    dice, rows = day.dice, {coral.id: noted(day.dice, coral) for coral in plot.corals}
    meant: dict[str, str] = {}
    if sort in (0, 1):
        for coral in [one for one in plot.corals if one.before == "dead"][:1]:
            rows[coral.id] = {"status": "alive", "size_cm": f"{coral.size:.1f}"}
            meant[coral.id] = "alive after dead"
    elif sort in (2, 3):
        for coral in [one for one in plot.corals if one.before == "alive" and "size_cm" in rows[one.id]][:1]:
            rows[coral.id]["size_cm"] = rows[coral.id]["size_cm"].replace(".", "")
            meant[coral.id] = "grown too fast"
    elif sort == 4:
        for one, other in zip(plot.corals, plot.corals[1:], strict=False):
            if one.before == "dead" and other.before == "alive" and other.alive:
                rows[one.id], rows[other.id] = rows[other.id], {"status": "dead"}
                meant[one.id] = meant[other.id] = "neighbours exchanged"
                break
    elif sort == 6:
        meant[plot.corals[4].id] = "seen after withdrawn"
    digests: dict[str, list[str]] = {}
    for line, coral in enumerate(plot.corals, 1):
        is_misread = coral.id not in meant and dice.random() < rate
        tag = misread(dice, coral, plot.corals) if is_misread else coral.tag
        seen = session.say("observation", {"plot": plot.id, "tag": tag, "line": str(line), **rows[coral.id]})
        if coral.id in meant:
            digests.setdefault(meant[coral.id], []).extend((seen.digest, coral.id))
    for told, found in digests.items():
        planted.add(told, *found)
