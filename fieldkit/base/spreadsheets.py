"""Taking a spreadsheet into a base: what the base knows by name, the protocol that judges, and the entries that come of it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from datetime import date

from fieldkit.base.base import Base
from fieldkit.base.errors import SayError
from fieldkit.base.mappings import SavedMappings
from fieldkit.base.view import View
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.register.sheets import (
    Mapping,
    Proposal,
    Sheet,
    Taken,
    Told,
    propose,
    read_mapping,
    sheets_of,
    take_all,
    untold,
)


def import_sheets(
    base: Base,
    body: bytes,
    *,
    file: str,
    mapping: Mapping,
    tabs: Sequence[str] = (),
    today: date,
    dry_run: bool = False,
    told: Told = untold,
) -> list[Taken]:
    """Take in what of a spreadsheet is certain; every other row is refused or asked about, by row and column.

    Args:
        body: the bytes of the file, `file` its name.
        mapping: what its columns and words mean; the empty one where our own headings are understood.
        tabs: the tabs of a workbook, "*" for all that hold something; none: those that the mapping names, or the only one.
        today: what lies after it has not happened yet.
        dry_run: only tell what would be taken.
        told: is told how many rows of how many were read.

    Returns:
        What was taken of each tab, in their order. All or nothing is written.

    Raises:
        SheetError: the file, a tab or the headings cannot be understood; nothing was written.
    """
    with base.view() as view:
        protocol = monitoring_protocol(base, view)
        sheets = sheets_of(body, file=file, tabs=tabs or mapping.tabs)
        taken = take_all(sheets, mapping, RegisterNames(view), protocol, today=today, told=told)
    if not dry_run:
        base.receive((entry for one in taken for entry in one.entries), source=file)
    return taken


def proposal(base: Base, sheet: Sheet) -> Proposal:
    """A mapping proposed for a sheet, by the programme's protocol."""
    with base.view() as view:
        return propose(sheet, monitoring_protocol(base, view))


def mapping_of(base: Base, body: bytes, *, name: str) -> Mapping:
    """What the bytes of a mapping file say.

    Raises:
        SheetError: with every fault.
    """
    with base.view() as view:
        fields = [field.name for field in monitoring_protocol(base, view).fields]
    return read_mapping(body, name=name, fields=fields)


def saved_mappings(base: Base) -> SavedMappings:
    return SavedMappings(base.folder / "mappings")


def monitoring_protocol(base: Base, view: View) -> Protocol:
    """The protocol by which outplants are observed: the newest version of the one that most sessions were written under.

    Raises:
        SayError: none with a status of corals is adopted.
    """
    adopted = [base.protocol(said.get("digest", "")) for said in view.things("protocol").values()]
    fit = [protocol for protocol in adopted if protocol and protocol.with_role("status")]
    if not fit:
        raise SayError.of("base.no_monitoring_protocol")
    written = {row["protocol"]: row["n"] for row in view.rows("SELECT protocol, count(*) AS n FROM session GROUP BY protocol")}
    used: Counter[str] = Counter()
    for protocol in fit:
        used[protocol.name] += written.get(protocol.digest, 0)
    # Before anything was observed all are equal; then the name decides, so that every base of the programme takes the same.
    return max(fit, key=lambda protocol: (used[protocol.name], protocol.name, protocol.version))


class RegisterNames:
    """What a base knows by name; names are compared as people mean them (`folded`)."""

    def __init__(self, view: View) -> None:
        self._sites = {folded(said["name"]): id_ for id_, said in view.things("site").items() if "name" in said}
        self._plots = {
            (said.get("site"), folded(said["name"])): id_ for id_, said in view.things("plot").items() if "name" in said
        }
        self._genotypes = {
            folded(said["accession"]): id_ for id_, said in view.things("genotype").items() if "accession" in said
        }
        self._tags: dict[tuple[str | None, str], str] = {}
        self._positions: dict[tuple[str | None, str], str] = {}
        self._tags_of: defaultdict[str | None, list[str]] = defaultdict(list)
        for row in view.corals():
            for tag, _, _ in row["said"]["tags"]:
                self._tags[row["plot"], folded(tag)] = row["id"]
                self._tags_of[row["plot"]].append(tag)
            if row["position"]:
                self._positions[row["plot"], folded(row["position"])] = row["id"]
        self._plantings = {
            (entry.values.get("plot"), entry.values.get("genotype"), day): entry.values["row"]
            for entry, day in view.plantings_of_groups()
        }

    def site(self, name: str, /) -> str | None:
        return self._sites.get(folded(name))

    def plot(self, site: str, name: str, /) -> str | None:
        return self._plots.get((site, folded(name)))

    def genotype(self, accession: str, /) -> str | None:
        return self._genotypes.get(folded(accession))

    def coral(self, plot: str, /, *, tag: str | None, position: str | None) -> str | None:
        if tag is not None:
            return self._tags.get((plot, folded(tag)))
        return self._positions.get((plot, folded(position))) if position is not None else None

    def tags(self, plot: str, /) -> Collection[str]:
        return self._tags_of.get(plot, ())

    def planting(self, plot: str, genotype: str, day: str, /) -> str | None:
        return self._plantings.get((plot, genotype, day))
