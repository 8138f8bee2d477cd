"""Before every stratum: what counts as absent, because a lead's redaction names it; its bytes go, wherever it is heard of."""

from __future__ import annotations

from collections.abc import Collection

from fieldkit.base.desk import Desk
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import is_beyond_redaction, opens, redacted


def redact(desk: Desk, new: Collection[Entry]) -> tuple[list[Entry], frozenset[str]]:
    """Empty what these entries, just appended, redact, and those of them that were redacted before they came.

    Returns:
        The entries that are emptied, as they were; and the digests that count as absent from now on.
    """
    speaking = {entry.session for entry in new if entry.kind == "redact" or opens(entry)}
    known = desk.state.redacted()
    named = _named(desk, speaking) - known
    desk.state.put_redacted(named)
    offered_again = known & {entry.digest for entry in new}
    gone = [entry for entry in desk.ledger.with_digests(named | offered_again) if not is_beyond_redaction(entry)]
    desk.ledger.empty([entry.digest for entry in gone])
    return gone, named


def put_redacted(desk: Desk) -> None:
    """Compute all of it from the redactions that are here. (What they name was emptied when they came.)"""
    desk.state.put_redacted(_named(desk, {entry.session for entry in desk.ledger.of_kind("redact")}))


def _named(desk: Desk, sessions: Collection[str]) -> frozenset[str]:
    redacts = [entry for entry in desk.ledger.of_sessions(sessions) if entry.kind == "redact"]
    return redacted(redacts, desk.ledger.openings({entry.session for entry in redacts}))
