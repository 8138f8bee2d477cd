"""Taking in what another base of the programme holds, straight from its folder: a second laptop, a stick, a backup.

The other base is only read. What it holds is believed no more than a carry file is: each entry, photo and protocol proves
itself by its digest; what does not is named and stays where it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from fieldkit.base.base import Base, Merged, arrivals
from fieldkit.base.database import BaseDatabase
from fieldkit.base.errors import BaseError
from fieldkit.errors import Fault
from fieldkit.ledger import sha256
from fieldkit.ledger.store import Ledger
from fieldkit.photos import PhotoError, PhotoStore


def is_base(folder: Path) -> bool:
    """Whether there is a base in that folder."""
    return BaseDatabase(folder).is_there


def merge_base(base: Base, folder: Path) -> Merged:
    """Take in all that the base in `folder` holds and that proves itself.

    Raises:
        BaseError: there is no base, or it is another programme's; then nothing was written.
    """
    database = BaseDatabase(folder)
    if not database.is_there:
        raise BaseError.of("base.no_base", folder=str(folder))
    about = database.about()
    if about["programme"] != base.programme:
        theirs = about["programme_name"]
        raise BaseError.of("base.other_programme", file=str(folder), theirs=theirs, ours=base.programme_name)
    with database.reading() as connection:
        ledger = Ledger(connection)
        entries = list(ledger.sound())
        faults = [_rotten(folder, f"entries/{digest}") for digest in ledger.rotten()]
    content = 0
    for protocol in _lacking(base.protocols, PhotoStore(folder / "protocols"), faults):
        base.keep_protocol(protocol)
        content += 1
    for photo in _lacking(base.photos, PhotoStore(folder / "photos"), faults):
        content += base.keep_photo(BytesIO(photo), sha256(photo))
    appended = base.receive(entries, source=about["base"])
    new, known = arrivals(entries, appended.new)
    return Merged(str(folder), len(appended.new), appended.known, new, known, content, tuple(faults))


def _lacking(ours: PhotoStore, theirs: PhotoStore, faults: list[Fault]) -> Iterator[bytes]:
    """The bytes of what they hold and we do not, one at a time: a photo is small enough to be held whole (64 MiB at most)."""
    for digest in sorted(set(theirs.digests()) - set(ours.digests())):
        try:
            with theirs.open(digest) as file:
                body = file.read()
        except PhotoError as error:
            faults.extend(error.faults)
            continue
        if sha256(body) == digest:
            yield body
        else:
            faults.append(_rotten(theirs.folder.parent, f"{theirs.folder.name}/{digest}"))


def _rotten(folder: Path, name: str) -> Fault:
    return Fault("base.rotten_there", {"folder": str(folder), "name": name})
