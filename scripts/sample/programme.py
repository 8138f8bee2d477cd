"""The invented programme: where, with which genotypes, by whom and when. What was planted is its plan, carried out exactly.

Nothing here is real but the names of the species: the atoll, its sites, the people (initials alone) and the permit are made
up, and the position is open ocean.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from functools import cache

from sample.dice import name_of, stream

SEED = 20261110
NAME = "Nuvelako Reef Gardeners"
TIME_ZONE = "Etc/GMT-11"  # the IANA name for UTC+11 all year; a place's name would tie the atoll to a real country
LOCAL = timezone(timedelta(hours=11))
FOUNDED = datetime(2024, 9, 2, 9, tzinfo=LOCAL)
LAST_DAY = date(2026, 11, 10)

RING_OF_TEN_M2 = "0.6"
COUNTED_PER_GENOTYPE = 12


@dataclass(frozen=True)
class Site:
    """A reef place; `exposure` scales how many corals break loose, `warmth` how hard the heat hits."""

    code: str
    name: str
    tag_letter: str
    latitude: str
    longitude: str
    depth_m: str
    habitat: str
    exposure: float
    warmth: float
    planted_on: tuple[date, date]
    last_visit: date


@dataclass(frozen=True)
class Genotype:
    """An accession; `hardiness` scales its everyday hazard, `heat` its hazard in hot water, both 1 on the whole."""

    accession: str
    species: str
    provenance: str
    known_by: str
    hardiness: float
    heat: float
    growth_cm_per_year: float


@dataclass(frozen=True)
class Plot:
    site: Site
    number: int
    recorded_as: str
    followed: bool
    method: str
    planted_on: date

    @property
    def name(self) -> str:
        return f"{self.site.code}-{self.number:02d}"


@dataclass(frozen=True)
class Coral:
    """One outplanted colony; in a counted plot it has no tag, and `position` only keeps it apart from its neighbours."""

    plot: Plot
    position: int
    tag: str | None
    genotype: Genotype
    points: int
    size_cm: float

    @property
    def name(self) -> str:
        return f"{self.plot.name}/{self.position}"

    @property
    def planted_on(self) -> date:
        return self.plot.planted_on

    @property
    def is_tagged(self) -> bool:
        return self.tag is not None


@dataclass(frozen=True)
class Person:
    initials: str
    consent: bool


@dataclass(frozen=True)
class Round:
    name: str
    age_days: int


# Letters that are easily taken for a figure under water (B 8, G 6, S 5, D 0), as crews only notice afterwards.
SITES = (
    Site("LAN", "Lantern Bommie", "B", "-6.91240", "167.90310", "4", "back reef", 1.0, 1.0,
         (date(2024, 11, 4), date(2024, 11, 11)), LAST_DAY),
    Site("PAN", "Pandanus Slope", "G", "-6.92715", "167.88842", "8", "fore reef", 0.9, 0.6,
         (date(2024, 10, 30), date(2024, 11, 6)), LAST_DAY),
    Site("RAY", "Ray Steps", "S", "-6.90188", "167.91975", "5", "patch reef", 0.7, 1.2,
         (date(2024, 10, 14), date(2024, 10, 21)), date(2026, 10, 20)),
    Site("OLD", "Old Moorings", "D", "-6.93502", "167.91120", "3", "crest", 1.8, 1.4,
         (date(2024, 10, 17), date(2024, 10, 25)), date(2026, 10, 22)),
)  # fmt: skip

_BRANCHING, _TABLE, _BUSHY = "Acropora muricata", "Acropora hyacinthus", "Pocillopora verrucosa"
GENOTYPES = (
    Genotype("AMUR-01", _BRANCHING, "Lantern Bommie, 3 m, 2022", "tested", 0.6, 0.7, 9.0),
    Genotype("AMUR-02", _BRANCHING, "Lantern Bommie, 5 m, 2022", "tested", 1.0, 1.6, 11.0),
    Genotype("AMUR-03", _BRANCHING, "Ray Steps, 4 m, 2022", "tested", 1.3, 1.0, 10.0),
    Genotype("AMUR-04", _BRANCHING, "Old Moorings, 2 m, 2023", "assumed", 0.8, 0.4, 7.5),
    Genotype("AHYA-01", _TABLE, "Pandanus Slope, 6 m, 2022", "tested", 0.9, 1.3, 7.0),
    Genotype("AHYA-02", _TABLE, "Pandanus Slope, 7 m, 2022", "tested", 1.4, 1.8, 8.0),
    Genotype("AHYA-03", _TABLE, "Old Moorings, 3 m, 2023", "assumed", 1.0, 0.8, 6.0),
    Genotype("AHYA-04", _TABLE, "Lantern Bommie, 4 m, 2023", "assumed", 1.7, 1.2, 6.5),
    Genotype("PVER-01", _BUSHY, "Ray Steps, 5 m, 2022", "tested", 0.7, 0.8, 3.5),
    Genotype("PVER-02", _BUSHY, "Ray Steps, 5 m, 2022", "tested", 0.9, 1.1, 4.0),
    Genotype("PVER-03", _BUSHY, "Pandanus Slope, 8 m, 2023", "assumed", 0.5, 0.6, 3.0),
    Genotype("PVER-04", _BUSHY, "Old Moorings, 3 m, 2023", "assumed", 1.2, 0.9, 4.0),
)

LEAD = Person("EA", True)
PEOPLE = (LEAD, Person("KT", True), Person("MO", True), Person("RS", False), Person("JV", True), Person("NL", False))

ROUNDS = (
    Round("month 1", 30),
    Round("month 3", 91),
    Round("month 6", 182),
    Round("month 12", 365),
    Round("month 18", 548),
    Round("month 24", 730),
)

PLOTS_A_SITE = 12
COUNTED = {("PAN", 12), ("OLD", 11)}
NOT_FOLLOWED = {("OLD", 12)}


def plots() -> Iterator[Plot]:
    """All 48 plots: a site's first six planted on its first day, the others on its second, the methods taking turns."""
    for site in SITES:
        for number in range(1, PLOTS_A_SITE + 1):
            place = (site.code, number)
            yield Plot(
                site=site,
                number=number,
                recorded_as="counted" if place in COUNTED else "tagged",
                followed=place not in NOT_FOLLOWED,
                method=("nail_tie", "epoxy")[number % 2],
                planted_on=site.planted_on[number > PLOTS_A_SITE // 2],
            )


def corals() -> list[Coral]:
    """Every coral as planted. A plot's two genotypes take turns around the ring, so that the two can be told apart."""
    planted: list[Coral] = []
    tags = dict.fromkeys((site.code for site in SITES), 100)
    for plot in plots():
        dice = stream(SEED, "planting", plot.name)
        counted = plot.recorded_as == "counted"
        for position in range(1, _size_of(plot, dice.random()) + 1):
            tags[plot.site.code] += not counted
            planted.append(
                Coral(
                    plot=plot,
                    position=position,
                    tag=None if counted else f"{plot.site.tag_letter}{tags[plot.site.code]}",
                    genotype=GENOTYPES[(plot.number - 1 + position % 2) % len(GENOTYPES)],
                    points=dice.choice((1, 2, 2, 3)),
                    size_cm=round(dice.uniform(5, 13) * 2) / 2,
                )
            )
    return planted


def _size_of(plot: Plot, luck: float) -> int:
    if plot.recorded_as == "counted":
        return 2 * COUNTED_PER_GENOTYPE
    return 9 if luck < 0.15 else 11 if luck > 0.85 else 10


def visit_day(site: Site, planned: Round) -> date:
    """The boat day on which a site was visited in a round: the weather moves it by some days."""
    if planned is ROUNDS[-1]:
        return site.last_visit
    middle = site.planted_on[0] + (site.planted_on[1] - site.planted_on[0]) // 2
    return middle + timedelta(days=planned.age_days + stream(SEED, "weather", site.code, planned.name).randint(-4, 6))


@cache
def identity(kind: str, name: str) -> str:
    """The id of a thing of the programme (a site, a plot, a coral …), minted when the programme began."""
    return name_of(SEED, FOUNDED, kind, name)


def moment(day: date, hour: int, minute: int = 0, second: int = 0) -> datetime:
    """A time of day on the atoll."""
    return datetime.combine(day, time(hour, minute, second), LOCAL)
