"""How copies of a programme meet: what devices and other bases ask a base over the network, and what it answers.

Nobody remembers what was sent. Each side compares what it holds, sends what the other lacks, and takes as received only what
the other says it holds on its disk. `docs/exchange.md` is the contract.
"""

from fieldkit.exchange.door import Peer, Refused
from fieldkit.exchange.errors import ExchangeError
from fieldkit.exchange.exchange import MOST_BYTES, MOST_LINES, MOST_PHOTO_BYTES, PIECE, Compared, Exchange, Lack, Taken
from fieldkit.exchange.known_bases import KnownBase, fetched, known_bases, reached
from fieldkit.exchange.meeting import Met, meet

__all__ = [
    "MOST_BYTES",
    "MOST_LINES",
    "MOST_PHOTO_BYTES",
    "PIECE",
    "Compared",
    "Exchange",
    "ExchangeError",
    "KnownBase",
    "Lack",
    "Met",
    "Peer",
    "Refused",
    "Taken",
    "fetched",
    "known_bases",
    "meet",
    "reached",
]
