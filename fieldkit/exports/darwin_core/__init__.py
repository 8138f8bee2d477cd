"""A Darwin Core archive: an Event core with Occurrence and extended measurement-or-fact, as OBIS takes it.

Text guide: https://dwc.tdwg.org/text/; terms: https://dwc.tdwg.org/list/; the extension:
https://rs.gbif.org/extension/obis/extended_measurement_or_fact.xml; what OBIS asks for: https://manual.obis.org/format.html.
"""

from __future__ import annotations

from fieldkit.exports.darwin_core.writing import write

__all__ = ["write"]
