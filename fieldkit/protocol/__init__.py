"""The protocol file: what a programme records, when, and what is plausible. The only place where its fields exist.

From it come the entry page's rows, the slate, the schema that observations are judged with, the columns of the exports and
the schedule. `docs/protocol.md` explains how to write one. Opens nothing: files and their bytes are for others to fetch.
"""

from fieldkit.protocol.agreement import agree
from fieldkit.protocol.changes import changes
from fieldkit.protocol.conditions import applies
from fieldkit.protocol.duration import days_of
from fieldkit.protocol.errors import DurationError, ProtocolError
from fieldkit.protocol.number import number
from fieldkit.protocol.plain import plain
from fieldkit.protocol.protocol import Choice, Effort, EventVisit, Field, Protocol, Round
from fieldkit.protocol.reading import read_protocol
from fieldkit.protocol.renaming import renamed
from fieldkit.protocol.row import Understood, schema, understand

__all__ = [
    "Choice",
    "DurationError",
    "Effort",
    "EventVisit",
    "Field",
    "Protocol",
    "ProtocolError",
    "Round",
    "Understood",
    "agree",
    "applies",
    "changes",
    "days_of",
    "number",
    "plain",
    "read_protocol",
    "renamed",
    "schema",
    "understand",
]
