"""A ZIP file of stored members, read from front to back by the headers that stand before each member.

The directory of a ZIP file stands at its end and is the first thing that a cut takes away, so nothing here needs it. Where a
header is damaged, the next one is searched for: what lies between is one stretch of unknown bytes, and the rest is read on.
Promises: time is linear in the size of the file, memory does not depend on it, and no name ever becomes a path.

Source: PKWARE, APPNOTE.TXT 6.3.10, sections 4.3.7 (local header), 4.3.12 (directory), 4.3.16 (its end).
"""

from __future__ import annotations

import os
import re
import stat
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import BinaryIO

LOCAL, CENTRAL, END = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
SECTOR, WINDOW = 4096, 1024 * 1024
_LOCAL = struct.Struct("<4s5H3L2H")
_CENTRAL = struct.Struct("<4s6H3L5H2L")
_END_BYTES = (22, 20 + 56 + 22)  # plain, and with the records for more than 4 GiB or 65,535 members before it
_ENCRYPTED, _SIZE_AFTERWARDS = 1 << 0, 1 << 3
_LONGEST_HEADER = 256  # of those that are searched for


@dataclass(frozen=True)
class Member:
    """A stretch of the file: a header at `offset`, then its bytes from `start` to `end`."""

    name: str
    offset: int
    start: int
    end: int
    said: int  # how many bytes its header says; another number than `size` where the file is cut or the header damaged
    crc: int
    trick: str | None = None  # "gap" (no header at all), "encrypted", "compressed", "unsized"

    @property
    def size(self) -> int:
        return self.end - self.start


class Archive:
    """One open ZIP file. Reads only.

    Args:
        file: open for reading, can be searched.
        names: what a member may be called, as a pattern; where a header is damaged the next one with such a name is looked for.
    """

    def __init__(self, file: BinaryIO, names: bytes) -> None:
        self.file = file
        self.size = file.seek(0, os.SEEK_END)
        self._header = re.compile(rb"PK(?:\x03\x04.{26}|\x01\x02.{42})(?:" + names + rb")", re.DOTALL)
        self._directory_at = self.size
        self.unreadable: tuple[int, OSError] | None = None  # the first place, and what the disk said

    def read(self, start: int, size: int) -> bytes:
        """Bytes of the file; none where the disk cannot read them, which is kept in mind in `unreadable`."""
        return self._attempt(start, lambda: self.file.read(size))

    def members(self) -> Iterator[Member]:
        """Every member and every gap, in order, up to the directory."""
        at = 0
        while at < self.size and (signature := self.read(at, 4)) not in (CENTRAL, END):
            member = (self._member(at) if signature == LOCAL else None) or self._gap(at)
            yield member
            at = member.end
        self._directory_at = at

    def lines(self, start: int, end: int, longest: int) -> Iterator[tuple[int, int, bytes]]:
        """Number, offset and bytes of each line of a stretch; of a line longer than `longest` only its beginning."""
        at, number = start, 1
        while at < end:
            line = self._line(at, min(longest + 1, end - at))
            if not line:
                at += SECTOR - at % SECTOR
                continue
            yield number, at, line
            at += len(line)
            number += 1
            if len(line) > longest and not line.endswith(b"\n"):
                at = self._after_line(at, end)

    def directory(self) -> Iterator[tuple[str, bool]]:
        """Name of each member in the directory, and whether it is a link. After `members`."""
        at = self._directory_at
        while len(head := self.read(at, _CENTRAL.size)) == _CENTRAL.size and head.startswith(CENTRAL):
            fields = _CENTRAL.unpack(head)
            name, extra, comment, mode = fields[10], fields[11], fields[12], fields[15] >> 16
            end = at + _CENTRAL.size + name + extra + comment
            if end > self.size:
                break
            yield _printable(self.read(at + _CENTRAL.size, name)), stat.S_ISLNK(mode)
            at = end
        self._directory_at = at

    @property
    def is_closed(self) -> bool:
        """Whether the file ends where its directory does. After `directory`."""
        return self.size - self._directory_at in _END_BYTES and self.read(self.size - _END_BYTES[0], 4) == END

    def _member(self, at: int) -> Member | None:
        head = self.read(at, _LOCAL.size)
        if len(head) < _LOCAL.size:
            return None
        _, _, flags, method, _, _, crc, packed, said, name, extra = _LOCAL.unpack(head)
        start = at + _LOCAL.size + name + extra
        if start > self.size:
            return None
        end = start + said
        if not self._is_boundary(end):
            # Either the size is wrong, or the next header is. The nearer end is right: bytes prove themselves by their digest.
            end = min(end, self._next_header(start))
        unsized = flags & _SIZE_AFTERWARDS or packed != said
        trick = "encrypted" if flags & _ENCRYPTED else "compressed" if method else "unsized" if unsized else None
        return Member(_printable(self.read(at + _LOCAL.size, name)), at, start, end, said, crc, trick)

    def _gap(self, at: int) -> Member:
        end = self._next_header(at + 1)
        return Member("", at, at, end, end - at, 0, "gap")

    def _line(self, start: int, size: int) -> bytes:
        return self._attempt(start, lambda: self.file.readline(size))

    def _attempt(self, start: int, reading: Callable[[], bytes]) -> bytes:
        # A failing card reads on behind its bad places, so one of them must not cost the rest of the file.
        try:
            self.file.seek(start)
            return reading()
        except OSError as error:
            self.unreadable = self.unreadable or (start, error)
            return b""

    def _after_line(self, at: int, end: int) -> int:
        while at < end:
            window = self.read(at, min(WINDOW, end - at))
            found = window.find(b"\n")
            if found >= 0:
                return at + found + 1
            at += len(window) or SECTOR
        return end

    def _is_boundary(self, at: int) -> bool:
        return at == self.size or (at < self.size and self.read(at, 4) in (LOCAL, CENTRAL))

    def _next_header(self, start: int) -> int:
        step = SECTOR  # so that a file full of broken headers costs little for each
        while start < self.size:
            found = self._header.search(self.read(start, step + _LONGEST_HEADER))
            if found:
                return start + found.start()
            start += step
            step = min(2 * step, WINDOW)
        return self.size


def _printable(name: bytes) -> str:
    return name[:100].decode("ascii", "backslashreplace")
