"""A planting day typed in one line, before it is written: what it would make, and what should be looked at once more."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from fieldkit.base import Statement, View
from fieldkit.errors import Fault
from fieldkit.protocol import Protocol, understand
from fieldkit.register.fields import MAX_NOTE, cleaned, read_day, species_key
from fieldkit.register.fold import Worn
from fieldkit.register.names import folded
from fieldkit.register.permits import permit_use
from fieldkit.register.practice import Plan, Wearer, advice
from fieldkit.register.tags import Series, read_series
from fieldkit.reports.programme.overview import lot_stock, planted_by_permit
from fieldkit.reports.programme.things import called, names_of


@dataclass(frozen=True)
class Preview:
    """A planting as it would be written.

    Attributes:
        given: what was typed, field by field.
        about: what the session would say of itself.
        values: what would be said of every coral.
        faults: what must be mended first, by field; then nothing can be written.
        advice: what should be looked at once more.
        groups: accession and number of corals of each genotype.
    """

    given: Mapping[str, str]
    about: Mapping[str, Any]
    values: Mapping[str, Any]
    series: Series
    faults: Mapping[str, Fault]
    advice: tuple[Fault, ...]
    groups: tuple[tuple[str, int], ...]

    @property
    def is_right(self) -> bool:
        return not self.faults


def preview(view: View, protocol: Protocol, given: Mapping[str, str], today: date) -> Preview:
    """What a filled planting form would write.

    Args:
        given: `plot`, `day`, `lot`, `tags`, `note`, and the fields of the protocol.
        today: nothing can have been planted after it.
    """
    plots, lots, genotypes = (view.things(kind) for kind in ("plot", "lot", "genotype"))
    typed = {name: cleaned(value) for name, value in given.items()}
    plot, lot = plots.get(typed.get("plot", "")), lots.get(typed.get("lot", ""))
    day = read_day(typed.get("day", ""))
    faults: dict[str, Fault] = {}
    if plot is None:
        faults["plot"] = Fault("programme.needed")
    elif plot.get("recorded_as") == "counted":
        faults["plot"] = Fault("programme.plot_is_counted")
    if not typed.get("day"):
        faults["day"] = Fault("programme.needed")
    elif day is None:
        faults["day"] = Fault("programme.no_day", {"value": typed["day"][:60]})
    elif day > today.isoformat():
        faults["day"] = Fault("programme.day_to_come", {"day": day})
    if typed.get("lot") and lot is None:
        faults["lot"] = Fault("programme.not_one_of", {"value": typed["lot"][:60]})
    if len(typed.get("note", "")) > MAX_NOTE:
        faults["note"] = Fault("programme.too_long", {"most": MAX_NOTE})
    series = _series(genotypes, typed.get("tags", ""), lot)
    if series.faults:
        faults["tags"] = series.faults[0]
    coral, head = (_understood(protocol, of, typed, faults) for of in ("coral", "head"))
    values = {**({"lot": typed["lot"]} if lot else {}), **coral}
    about = {"protocol": protocol.digest, **head, **({"note": typed["note"]} if typed.get("note") else {})}
    if day is not None and plot is not None:
        about |= {"day": day, **({"site": plot["site"]} if isinstance(plot.get("site"), str) else {})}
    plan = None if faults or plot is None or day is None else _plan(view, typed, day, plot, lot, values, series)
    names = names_of(view, "genotype")
    counted = Counter(one.genotype for one in series.tagged)
    return Preview(
        typed,
        about,
        values,
        series,
        faults,
        tuple(advice(plan)) if plan else (),
        tuple((names.get(id_, id_), n) for id_, n in counted.items()),
    )


def statements(planned: Preview, id_of: Callable[[str], str]) -> list[Statement]:
    """The plantings of a preview that is right, in the order of the series; `id_of` names the coral of each tag."""
    plot = planned.given["plot"]
    return [
        Statement("planting", {"row": id_of(one.tag), "plot": plot, "tag": one.tag, "genotype": one.genotype, **planned.values})
        for one in planned.series.tagged
    ]


def _series(genotypes: Mapping[str, Mapping[str, Any]], typed: str, lot: Mapping[str, Any] | None) -> Series:
    by_name = {folded(str(said["accession"])): id_ for id_, said in genotypes.items() if "accession" in said}
    accessions = [str(said["accession"]) for said in genotypes.values() if "accession" in said]
    of_lot = lot.get("genotype") if lot else None
    otherwise = of_lot if isinstance(of_lot, str) else None
    return read_series(typed, lambda word: by_name.get(folded(word)), accessions, otherwise=otherwise)


def _understood(protocol: Protocol, of: Any, typed: Mapping[str, str], faults: dict[str, Fault]) -> dict[str, Any]:
    """What the protocol understands of its fields; what it does not is a fault of that field."""
    said = {field.name: typed[field.name] for field in protocol.fields_of(of) if typed.get(field.name)}
    found = understand(protocol, of, said)
    for fault in found.faults:
        faults.setdefault(str(fault.data.get("name", "tags")), fault)
    return dict(found.values)


def _plan(
    view: View,
    typed: Mapping[str, str],
    day: str,
    plot: Mapping[str, Any],
    lot: Mapping[str, Any] | None,
    values: Mapping[str, Any],
    series: Series,
) -> Plan:
    permit = view.things("permit").get(str(view.things("site").get(str(plot.get("site")), {}).get("permit")))
    lot_genotype = lot.get("genotype") if lot else None
    return Plan(
        day,
        series.tagged,
        values,
        plot,
        standing=_standing(view, typed["plot"], day),
        species={id_: str(said["species"]) for id_, said in view.things("genotype").items() if "species" in said},
        permit=permit,
        used=_used(view, permit) if permit else {},
        lot_genotype=lot_genotype if isinstance(lot_genotype, str) else None,
        stock=lot_stock(view, typed["lot"]) if lot else None,
        wearers=_wearers(view, [one.tag for one in series.tagged]),
    )


def _standing(view: View, plot: str, day: str) -> int:
    """How many corals stand in a plot that day: planted by then, and not known to be dead, gone or taken away."""
    sql = (
        "SELECT count(*) AS n FROM coral WHERE plot = ? AND fate NOT IN ('dead', 'missing', 'withdrawn')"
        " AND (planted_on IS NULL OR planted_on <= ?)"
    )
    return int(view.rows(sql, plot, day)[0]["n"])


def _used(view: View, permit: Mapping[str, Any]) -> dict[str, int]:
    planted = planted_by_permit(view).get(str(permit.get("permit")), ())
    return {species_key(one.species): one.used for one in permit_use(permit, planted).species}


def _wearers(view: View, tags: list[str]) -> dict[str, list[Wearer]]:
    """By tag, the corals that wear it or wore it."""
    by_fold = {folded(tag): tag for tag in tags}
    sql = "SELECT DISTINCT coral FROM worn WHERE tag IN (SELECT value FROM json_each(?))"
    rows = view.corals({row["coral"] for row in view.rows(sql, list(by_fold))})
    plots = view.things("plot")
    found: dict[str, list[Wearer]] = defaultdict(list)
    for row in rows:
        place = called("plot", str(row["plot"]), plots.get(str(row["plot"]), {})) if row["plot"] else "–"
        for tag, since, until in row["said"]["tags"]:
            if folded(tag) in by_fold:
                found[by_fold[folded(tag)]].append(Wearer(Worn(tag, since, until), place))
    return found
