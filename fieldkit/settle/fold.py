"""What is agreed about the corals of some plots: from standing observations and rulings to states, fates, matters and
histories.

Pure, and whole: given the observations, corals and rulings of plots that nothing ties to others, it gives all that can be
said of them, in any order of input. The base calls it for the plots that new entries touch, or for all of them; both give
the same rows.

Every observation gets one fate (`FATES`), so that the counts add up.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations

from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.register.fold import Coral, Group, Worn
from fieldkit.register.names import folded
from fieldkit.settle.calendar import Dive
from fieldkit.settle.counting import CountedGroup, settle_group
from fieldkit.settle.life import Account, Life, account
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.place import Placement, Plots
from fieldkit.settle.reading import Reading, read
from fieldkit.settle.slates import Slates
from fieldkit.settle.slips import slips

FATES = (
    "counted",
    "agrees with a counted one",
    "in a matter",
    "overruled",
    "set aside",
    "superseded",
    "retracted",
    "redacted",
    "not understood",
    "practice",
    "not searched",
)


@dataclass(frozen=True, slots=True)
class Settled:
    """All that is settled, and all that is not, of some plots."""

    lives: tuple[Life, ...]
    groups: tuple[CountedGroup, ...]
    fates: Mapping[str, str]
    matters: tuple[Matter, ...]
    coral_of: Mapping[str, str] = field(default_factory=dict)


def settle(
    heads: Iterable[Entry],
    corals: Mapping[str, Coral],
    groups: Mapping[tuple[str, str], Group],
    dives: Mapping[str, Dive],
    rulings: Rulings,
    slates: Slates,
) -> Settled:
    """Settle plots that nothing ties to others.

    Args:
        heads: standing observations; every one that may be of one of these corals.
        corals, groups: all of these plots.
        dives: the session of every observation, as settled.
        rulings: those that name any of the observations.
        slates: of the visits of these sessions.
    """
    rulings = rulings.among(corals)
    readings, doubts = _understood([read(entry, dives[entry.session]) for entry in heads], rulings)
    silent = {reading.digest: fate for reading in readings if (fate := _silent(reading))}
    telling = [reading for reading in readings if reading.digest not in silent]
    placement = Placement((reading for reading in telling if not reading.is_counted), Plots(corals.values()), rulings)
    accounts, slipped = _accounts(corals, placement, rulings, slates)
    counted, stray = _by_group(groups, (reading for reading in telling if reading.is_counted), rulings)
    counts = [settle_group(groups[group], rows, rulings, slates) for group, rows in counted.items()]
    told: list[Account | CountedGroup] = [*accounts.values(), *counts]
    matters = [*doubts, *slipped, *stray, *_tags_of_two(corals.values()), *(matter for one in told for matter in one.matters)]
    fates = dict.fromkeys(placement.unsettled, "in a matter") | dict.fromkeys(placement.set_aside, "set aside") | silent
    fates |= {digest: "set aside" if one.ruling else "in a matter" for one in stray for digest in one.of}
    for account_ in told:
        fates |= account_.fates
    by_id = placement.matters | {matter.id: matter for matter in sorted(matters, key=lambda matter: matter.why.key)}
    return Settled(
        lives=tuple(accounts[coral].life for coral in sorted(accounts)),
        groups=tuple(counts),
        fates=dict(sorted(fates.items())),
        matters=tuple(by_id[id_] for id_ in sorted(by_id)),
        coral_of=placement.settled(),
    )


def _understood(readings: Iterable[Reading], rulings: Rulings) -> tuple[list[Reading], list[Matter]]:
    """The readings, with what a lead said of values that were not understood; and what is to be asked about such values."""
    found, matters = [], []
    for reading in readings:
        if not reading.faults or reading.protocol is None or reading.dive.practice or reading.dive.set_aside:
            found.append(reading)
            continue
        matter = rulings.asked(_value_matter(reading))
        ruling = rulings.settling(matter)
        told = {name: value for name, value in ruling.fields.items() if name in matter.fields} if ruling else {}
        found.append(reading.mended(told))
        matters.append(matter)
    return found, matters


def _value_matter(reading: Reading) -> Matter:
    return Matter(
        "value",
        (reading.digest,),
        reading.faults[0],
        reading.unit,
        visit=reading.dive.visit,
        session=reading.dive.id,
        fields={fault.data["name"]: {} for fault in reading.faults if "name" in fault.data},
        answers=("use", "stands"),
    )


def _silent(reading: Reading) -> str | None:
    """The fate of an observation that says nothing about a state, whatever coral it is of; None of one that may."""
    if reading.dive.practice:
        return "practice"
    if reading.dive.set_aside:
        return "set aside"
    if not reading.is_searched:
        return "not searched"
    if reading.dive.visit is None:
        return "in a matter"  # no day, or no site: its session's matter
    return None if reading.is_understood else "not understood"


def _accounts(
    corals: Mapping[str, Coral], placement: Placement, rulings: Rulings, slates: Slates
) -> tuple[dict[str, Account], list[Matter]]:
    """What can be said of each coral once every ruling has moved what it moves; and what rows may have changed places."""

    def tried(coral: str, readings: Iterable[Reading]) -> Account:
        return account(corals[coral], list(readings), rulings, slates)

    accounts: dict[str, Account] = {}
    touched = set(corals)
    while True:
        seen = placement.of_corals()
        accounts |= {coral: tried(coral, seen.get(coral, ())) for coral in sorted(touched)}
        slipped = slips(accounts, seen, placement, tried, rulings)
        asked = [matter for coral in sorted(touched) for matter in accounts[coral].matters]
        touched = placement.move([*(slip.matter for slip in slipped), *asked])
        if not touched:
            break
    for slip in slipped:
        if slip.matter.is_open:
            accounts |= {coral: slip.instead_of(accounts[coral]) for coral in slip.exchanged}
    return accounts, [slip.matter for slip in slipped]


def _tags_of_two(corals: Iterable[Coral]) -> list[Matter]:
    """A matter for each tag that two corals of a plot wear on the same days."""
    wearers: dict[tuple[str, str], list[tuple[Coral, Worn]]] = defaultdict(list)
    for coral in corals:
        for worn in coral.tags:
            wearers[coral.plot or "", folded(worn.tag)].append((coral, worn))
    return [
        Matter("name", of, Fault("settle.tag_on_two", {"name": worn[0][1].tag}), plot, corals=of)
        for (plot, _), worn in sorted(wearers.items())
        if (of := _at_once(worn))
    ]


def _at_once(wearers: Iterable[tuple[Coral, Worn]]) -> tuple[str, ...]:
    """The corals that wear a tag on days on which another of them wears it too."""
    pairs = [(one, other) for one, other in combinations(wearers, 2) if one[0].id != other[0].id and one[1].overlaps(other[1])]
    return tuple(sorted({coral.id for pair in pairs for coral, _ in pair}))


def _by_group(
    groups: Mapping[tuple[str, str], Group], counted: Iterable[Reading], rulings: Rulings
) -> tuple[dict[tuple[str, str], list[Reading]], list[Matter]]:
    """Counts by the group that they are of; a count of what was never planted there is a matter."""
    found: dict[tuple[str, str], list[Reading]] = {group: [] for group in groups}
    stray = []
    for reading in counted:
        group = reading.said.get("plot", ""), reading.said.get("genotype", "")
        if group in found:
            found[group].append(reading)
        else:
            stray.append(rulings.asked(_of_nothing_planted(reading)))
    return found, stray


def _of_nothing_planted(reading: Reading) -> Matter:
    return Matter(
        "count",
        (reading.digest,),
        Fault("settle.count_of_nothing_planted"),
        reading.unit,
        visit=reading.dive.visit,
        session=reading.dive.id,
        answers=("set_aside",),
    )
