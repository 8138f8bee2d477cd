"""Taking a spreadsheet into a base: what the base knows by name, the protocol that judges, and the entries that come of it."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

from fieldkit.base.base import Base
from fieldkit.base.errors import SayError
from fieldkit.base.view import View
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.register.sheets import Mapping, SheetError, Taken, read_mapping, read_sheet, take


def import_sheet(
    base: Base, path: Path, *, sheet: str | None = None, mapping: Path | None = None, today: date, dry_run: bool = False
) -> Taken:
    """Take in what of a spreadsheet is certain; every other row is refused or asked about, by row and column.

    Args:
        sheet: the tab, where a workbook has several.
        mapping: the mapping file; without one our own headings are understood.
        today: what lies after it has not happened yet.
        dry_run: only tell what would be taken.

    Raises:
        SheetError: the file, the tab or the mapping cannot be understood; nothing was written.
    """
    with base.view() as view:
        protocol = monitoring_protocol(base, view)
        fields = [field.name for field in protocol.fields]
        read = read_sheet(path, sheet)
        chosen = _mapping(mapping, fields) if mapping else Mapping()
        taken = take(read, chosen, RegisterNames(view), protocol, today=today)
    if not dry_run:
        base.receive(taken.entries, source=path.name)
    return taken


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


def _mapping(path: Path, fields: list[str]) -> Mapping:
    try:
        body = path.read_bytes()
    except OSError as error:
        raise SheetError.of("sheets.cannot_open", file=path.name, why=error.strerror or type(error).__name__) from error
    return read_mapping(body, name=path.name, fields=fields)


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
        for row in view.corals():
            for tag, _, _ in row["said"]["tags"]:
                self._tags[row["plot"], folded(tag)] = row["id"]
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

    def planting(self, plot: str, genotype: str, day: str, /) -> str | None:
        return self._plantings.get((plot, genotype, day))
