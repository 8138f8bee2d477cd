"""Writing a carry file, which has its name only once it was read back whole.

The same input gives the same bytes, whatever machine and hour.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from fieldkit import durable
from fieldkit.errors import Fault
from fieldkit.ledger.carry.form import (
    ABOUT,
    END,
    ENTRIES,
    MAX_CONTENT,
    MAX_ENTRIES_BYTES,
    MOST_BYTES,
    PIECE,
    About,
    about_body,
    listing,
)
from fieldkit.ledger.carry.reading import read_carry
from fieldkit.ledger.entry import Entry
from fieldkit.ledger.errors import CarryError

_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the same for every member: no clock in the bytes


@dataclass(frozen=True)
class CarryCount:
    """What was written, and by name what could not be: photos that are gone, damaged or too large."""

    entries: int
    content: Mapping[str, int]
    bytes: int
    left_out: tuple[Fault, ...] = ()


def write_carry(
    path: Path, about: About, entries: Iterable[Entry], content: Iterable[tuple[str, str, Path | bytes]]
) -> CarryCount:
    """Write a carry file, read it back, and only then give it its name. A file of that name is replaced.

    Args:
        entries: in the order in which they are to be read; the oldest or the most wanted first.
        content: folder ("protocols", "photos"), digest, and where the bytes are. One that is given twice is written once.

    Raises:
        CarryError: the disk is full or away, there is too much for one file, or what was read back is not what was written.
    """
    partial = path.with_name(f".{path.name}.{secrets.token_hex(4)}.partial")
    try:
        with durable.whole_file(path, partial) as file:
            count = _write(file, about, entries, content)
            durable.force(file)
            _read_back(partial, path)
    except OSError as error:
        raise CarryError.of("carry.cannot_write", file=str(path), why=error.strerror or str(error)) from error
    return count


def _write(
    file: BinaryIO, about: About, entries: Iterable[Entry], content: Iterable[tuple[str, str, Path | bytes]]
) -> CarryCount:
    wanted = sorted({(folder, digest): source for folder, digest, source in content}.items(), key=_folder_order)
    if len(wanted) > MAX_CONTENT:
        raise CarryError.of("carry.too_much_content", found=len(wanted), most=MAX_CONTENT)
    members: dict[str, tuple[str, int]] = {}
    left_out: list[Fault] = []
    lines = _Counted(entry.line for entry in entries)
    with ZipFile(file, "w", ZIP_STORED) as archive:
        members[ABOUT] = _add(archive, ABOUT, [about_body(about)])
        members[ENTRIES] = _add(archive, ENTRIES, lines)
        for (folder, digest), source in wanted:
            fault = _cannot_be_carried(folder, digest, source)
            if fault:
                left_out.append(fault)
            else:
                name = f"{folder}/{digest}"
                members[name] = _add(archive, name, _pieces_of(source))
        _add(archive, END, [listing(members)])
    carried = {folder: sum(name.startswith(f"{folder}/") for name in members) for folder in MOST_BYTES}
    return CarryCount(lines.n, carried, file.tell(), tuple(left_out))


def _folder_order(item: tuple[tuple[str, str], Path | bytes]) -> int:
    return list(MOST_BYTES).index(item[0][0])


@dataclass
class _Counted:
    """Lines, counted as they pass, refused where they would outgrow the member."""

    lines: Iterable[bytes]
    n: int = 0

    def __iter__(self) -> Iterator[bytes]:
        size = 0
        for line in self.lines:
            self.n += 1
            size += len(line)
            if size > MAX_ENTRIES_BYTES:
                raise CarryError.of("carry.too_many_entries", n=self.n, most=MAX_ENTRIES_BYTES)
            yield line


def _add(archive: ZipFile, name: str, pieces: Iterable[bytes]) -> tuple[str, int]:
    info = ZipInfo(name, _LONG_AGO)
    info.create_system = 3  # zipfile would name the system that it runs on, and the bytes would differ by it
    info.external_attr = 0o100644 << 16
    hasher = hashlib.sha256()
    size = 0
    with archive.open(info, "w") as member:
        for piece in pieces:
            member.write(piece)
            hasher.update(piece)
            size += len(piece)
    return hasher.hexdigest(), size


def _pieces_of(source: Path | bytes) -> Iterator[bytes]:
    if isinstance(source, bytes):
        yield source
        return
    with source.open("rb") as file:
        while piece := file.read(PIECE):
            yield piece


def _cannot_be_carried(folder: str, digest: str, source: Path | bytes) -> Fault | None:
    """Why not. Read before it is written: one damaged photo must not cost the whole file, nor travel on."""
    hasher = hashlib.sha256()
    size = 0
    try:
        for piece in _pieces_of(source):
            hasher.update(piece)
            size += len(piece)
    except OSError as error:
        return Fault("carry.content_unreadable", {"name": f"{folder}/{digest}", "why": error.strerror or str(error)})
    if size > MOST_BYTES[folder]:
        return Fault("carry.content_too_large", {"name": f"{folder}/{digest}", "bytes": size, "most": MOST_BYTES[folder]})
    if hasher.hexdigest() != digest:
        return Fault("carry.content_rotten", {"name": f"{folder}/{digest}", "true": hasher.hexdigest()})
    return None


def _read_back(partial: Path, path: Path) -> None:
    with read_carry(partial) as carry:
        carry.prove()
        if not carry.is_whole or carry.faults:
            raise CarryError(Fault("carry.read_back", {"file": str(path)}), *carry.faults)
