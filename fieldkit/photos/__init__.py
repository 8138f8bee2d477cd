"""Photos: kept by their content, as taken, for ever; anything smaller is derived and can be made again.

A photo is evidence, not an observation: what it shows is said by the entry that names its digest.
"""

from fieldkit.photos.errors import PhotoError
from fieldkit.photos.incoming import FullError, Incoming, OffsetError, Piece, WrongError
from fieldkit.photos.look import Looked, look_at
from fieldkit.photos.looks import Looks
from fieldkit.photos.small import SIZES, SmallCopies
from fieldkit.photos.store import PhotoStore

__all__ = [
    "SIZES",
    "FullError",
    "Incoming",
    "Looked",
    "Looks",
    "OffsetError",
    "PhotoError",
    "PhotoStore",
    "Piece",
    "SmallCopies",
    "WrongError",
    "look_at",
]
