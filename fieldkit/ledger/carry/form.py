"""What a carry file holds, in what form, and how much of it at most.

A ZIP file of stored members in this order: `about.json` (whose programme, who wrote it), `entries.txt` (one line an entry; so
early that a torn file gives the most), `protocols/<digest>`, `photos/<digest>`, and `end.json` (name, digest and size of the
others). docs/carry-file.md says how to read one without us. No I/O.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from fieldkit.errors import Fault
from fieldkit.ledger.canonical import canonical, parse
from fieldkit.ledger.entry import MAX_BYTES, is_id
from fieldkit.ledger.errors import CarryError, EntryError

FORMAT = "fieldkit carry file"
VERSION = 1
ABOUT, ENTRIES, END = "about.json", "entries.txt", "end.json"
NAMES = rb"(?:about\.json|entries\.txt|end\.json|(?:protocols|photos)/[0-9a-f]{64})"

# Limits, chosen: what a programme needs many times over, and what a five-year-old laptop holds in memory with ease.
MOST_BYTES: Mapping[str, int] = {"protocols": 256 * 1024, "photos": 64 * 1024 * 1024}  # of one member, by its folder
MAX_ABOUT = 4096
MAX_ENTRIES_BYTES = 1024**3  # two million entries
MAX_LINE = 64 + 1 + MAX_BYTES + 1
MAX_CONTENT = 50_000
MAX_END = 170 * (MAX_CONTENT + 4)  # a line of it has at most 170 bytes
PIECE = 1024 * 1024

_LISTED = re.compile(rb'\["([^"\\]{1,80})","([0-9a-f]{64})",(\d{1,12})\],?')


@dataclass(frozen=True)
class About:
    """Whose a carry file is. `programme` is a UUID; `source` the id of the device or base that wrote it."""

    programme: str
    programme_name: str
    source: str


def about_body(about: About) -> bytes:
    """The bytes of about.json.

    Raises:
        CarryError: the programme's name is too long.
    """
    body = canonical({"format": FORMAT, "version": VERSION, **asdict(about)})
    if len(body) > MAX_ABOUT:
        raise CarryError.of("carry.name_too_long", bytes=len(body), most=MAX_ABOUT)
    return body


def about_of(body: bytes, file: str) -> About:
    """What the bytes of about.json say.

    Raises:
        CarryError: they are none of ours, of another version, or do not say whose the file is.
    """
    try:
        said = parse(body)
    except EntryError as error:
        raise CarryError(Fault("carry.no_carry_file", {"file": file}), *error.faults) from error
    if not isinstance(said, dict) or said.get("format") != FORMAT:
        raise CarryError.of("carry.no_carry_file", file=file)
    if said.get("version") != VERSION:
        raise CarryError.of("carry.other_version", file=file, version=str(said.get("version"))[:20], known=VERSION)
    programme, name, source = (said.get(key) for key in ("programme", "programme_name", "source"))
    if not (is_id(programme) and isinstance(name, str) and is_id(source)):
        raise CarryError.of("carry.about_incomplete", file=file)
    return About(programme, name, source)


def listing(members: Mapping[str, tuple[str, int]]) -> bytes:
    """The bytes of end.json: JSON, one member a line, from digest and size by name."""
    lines = ",\n".join(f'["{name}","{digest}",{size}]' for name, (digest, size) in members.items())
    return f'{{"members":[\n{lines}\n]}}\n'.encode("ascii")


def listed_in(body: bytes) -> dict[str, tuple[str, int]]:
    """What an end.json lists, as far as its lines can be read."""
    return {line[1].decode("ascii", "replace"): (line[2].decode(), int(line[3])) for line in _LISTED.finditer(body)}
