"""The carry file: sessions and photos in one file, to hand in by cable, card or mail.

Promises: the same input gives the same bytes; a file has its name only once it was read back whole; reading keeps each line
and member that proves itself by its digest, names all others, holds a bounded amount in memory and changes nothing.
`form` says what is in one and how much of it, `archive` how it lies in the file, `writing` and `reading` do it.
"""

from fieldkit.ledger.carry.form import About
from fieldkit.ledger.carry.reading import Carry, ContentReader, read_carry
from fieldkit.ledger.carry.writing import CarryCount, write_carry

__all__ = ["About", "Carry", "CarryCount", "ContentReader", "read_carry", "write_carry"]
