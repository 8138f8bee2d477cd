"""From what an import says to sealed sessions of entries: the same words give the same bytes, on every base and run. Pure."""

from __future__ import annotations

import json
from collections.abc import Iterable
from collections.abc import Mapping as Map
from typing import Any

from fieldkit.ledger import Entry, derived_id, mint, sha256
from fieldkit.register.sheets.things import Said

_SUM_MODULUS = 2**256
_SAID = json.JSONEncoder(sort_keys=True).encode  # names a session only; what is stored is minted in canonical form


def sealed_session(digest: str, opening: Map[str, Any], said: Iterable[Said]) -> list[Entry]:
    """A session by an import: its opening, what it says, and the closing entry that counts and sums them.

    Its id follows from all that stands in it. A base that knew some coral by another id says something else with the same
    sheet, and must not continue under the same name a session that another base wrote otherwise.

    Args:
        digest: of the import.
        opening: values of the session entry, without `role` and `import`.
    """
    said = [("session", {"role": "lead", "import": digest, **opening}), *said]
    session = derived_id("import", digest, "session", sha256(_SAID(said).encode()))
    device = derived_id("import", digest, "device")

    def sealed(seq: int, kind: str, values: Map[str, Any]) -> Entry:
        return mint(kind, device=device, session=session, seq=seq, at=0, values=values)

    entries = [sealed(seq, kind, values) for seq, (kind, values) in enumerate(said, start=1)]
    total = sum(int(entry.digest, 16) for entry in entries) % _SUM_MODULUS
    return [*entries, sealed(len(entries) + 1, "close", {"n": len(entries), "sum": f"{total:064x}"})]
