"""Reading a carry file from front to back: what proves itself is given, all else is named.

Nothing of what a file says is believed but by its digest; no name in it becomes a path; memory is bounded whatever it holds.
"""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, BinaryIO

from fieldkit.errors import Fault
from fieldkit.ledger.canonical import sha256
from fieldkit.ledger.carry.archive import Archive, Member
from fieldkit.ledger.carry.form import (
    ABOUT,
    END,
    ENTRIES,
    MAX_ABOUT,
    MAX_CONTENT,
    MAX_END,
    MAX_LINE,
    MOST_BYTES,
    NAMES,
    PIECE,
    About,
    about_of,
    listed_in,
    listing,
)
from fieldkit.ledger.entry import Entry, is_digest, read
from fieldkit.ledger.errors import CarryError, EntryError

MAX_SESSIONS = 100_000  # whose entries are counted; chosen: some ten times those of a large programme
MAX_FAULTS = 1000  # that are kept; the rest are counted
_LINE_BEGINS = re.compile(rb"[0-9a-f]{64} \{")


@contextmanager
def read_carry(path: Path) -> Iterator[Carry]:
    """Open a carry file. Reads only; the file stays as it is.

    Raises:
        CarryError: it cannot be opened, or does not say whose it is. Anything else that is wrong goes to `faults`.
    """
    try:
        file = path.open("rb")
    except OSError as error:
        raise CarryError.of("carry.cannot_open", file=str(path), why=error.strerror or str(error)) from error
    with file:
        yield Carry(file, str(path))


class Carry:
    """An open carry file, read once from front to back: `about`, then `entries()`, then `content()`.

    `faults` and `is_whole` are complete after `content()` has ended, or after `prove()`, which reads what is left.
    """

    def __init__(self, file: BinaryIO, name: str) -> None:
        self.name = name
        self.faults: list[Fault] = []
        self.is_whole = False
        self._more_faults = 0
        self._taken: dict[str, tuple[str, int]] = {}
        self._refused: set[str] = set()
        self._end_agrees = False
        self._archive = Archive(file, NAMES)
        self._members = self._archive.members()
        self.about = self._read_about()
        self._next = next(self._members, None)
        self._entries = self._read_entries()
        self._content = self._read_content()

    def entries(self) -> Iterator[Entry]:
        """Each line that proves itself, in order. Goes on where an earlier call left off."""
        return self._entries

    def content(self) -> Iterator[tuple[str, str, ContentReader]]:
        """Folder ("protocols", "photos"), digest and bytes of each member after the entries; reads those first if need be.

        The reader proves the digest: instead of the last of bytes that are not the promised ones it raises `CarryError`, having
        noted the same in `faults`. So nobody who stores from it takes bad bytes for good. What is not read is proved as well.
        """
        return self._content

    def prove(self) -> None:
        """Read whatever was not read yet."""
        for _ in self._content:
            pass

    def _read_about(self) -> About:
        member = next(self._members, None)
        body = self._archive.read(member.start, min(member.size, MAX_ABOUT + 1)) if member else b""
        if self._archive.unreadable:
            self._note_unreadable()
            raise CarryError(*self.faults)
        if member is not None and member.trick not in (None, "gap"):
            raise CarryError.of(f"carry.{member.trick}", file=self.name, member=member.name, offset=member.offset)
        if member is None or member.name != ABOUT:
            raise CarryError.of("carry.no_carry_file", file=self.name)
        if len(body) != member.said or zlib.crc32(body) != member.crc:
            raise CarryError.of("carry.about_damaged", file=self.name)
        self._taken[ABOUT] = (sha256(body), len(body))
        return about_of(body, self.name)

    def _read_entries(self) -> Iterator[Entry]:
        while self._next is not None and ENTRIES not in self._taken and not _is_after_entries(self._next):
            member = self._next
            if member.name == ENTRIES and not member.trick:
                yield from self._read_lines(member, member.start)
            elif found := _LINE_BEGINS.search(self._archive.read(member.start, min(member.size, 256))):
                # Only the header is damaged. Lines prove themselves wherever they stand.
                self._note("carry.entries_header", member=ENTRIES, offset=member.offset)
                yield from self._read_lines(member, member.start + found.start())
            else:
                self._refuse(member)
            self._next = next(self._members, None)

    def _read_lines(self, member: Member, start: int) -> Iterator[Entry]:
        hasher = hashlib.sha256()
        tally = _Tally()
        faults_before = self._fault_count
        for number, at, line in self._archive.lines(start, member.end, MAX_LINE):
            hasher.update(line)
            entry = self._entry_of(line, {"member": ENTRIES, "line": number, "offset": at})
            if entry:
                tally.add(entry)
                yield entry
        self._taken[ENTRIES] = (hasher.hexdigest(), member.end - start)
        if member.size < member.said or self._fault_count > faults_before:
            for key, data in tally.gaps():
                self._note(key, **data)

    def _entry_of(self, line: bytes, place: Mapping[str, Any]) -> Entry | None:
        digest, _, body = line.removesuffix(b"\n").partition(b" ")
        if len(line) > MAX_LINE:
            self._note("carry.line_too_long", **place, most=MAX_LINE)
        elif digest != sha256(body).encode("ascii"):
            self._note("carry.line_damaged", **place)
        else:
            try:
                return read(body)
            except EntryError as error:
                self._note("carry.line_no_entry", **place)
                for fault in error.faults:
                    self._note(fault.key, **fault.data)
        return None

    def _read_content(self) -> Iterator[tuple[str, str, ContentReader]]:
        for _ in self._entries:
            pass
        while self._next is not None:
            member = self._next
            if member.name == END and not member.trick and END not in self._taken:
                self._compare_with_end(member)
            elif self._is_admitted(member):
                reader = ContentReader(self._archive, member, self._settle)
                yield *_folder_and_digest(member), reader
                reader.prove()
            self._next = next(self._members, None)
        self._finish()

    def _is_admitted(self, member: Member) -> bool:
        folder, digest = _folder_and_digest(member)
        size = max(member.size, member.said)
        if member.trick or folder not in MOST_BYTES or not is_digest(digest) or END in self._taken:
            self._refuse(member)
        elif member.name in self._taken:
            self._refuse(member, "carry.twice")
        elif len(self._taken) + len(self._refused) >= MAX_CONTENT + 2:
            self._refuse(member, "carry.too_many_members", most=MAX_CONTENT)
        elif size > MOST_BYTES[folder]:
            self._refuse(member, "carry.member_too_large", bytes=size, most=MOST_BYTES[folder])
        else:
            return True
        return False

    def _settle(self, member: Member, digest: str) -> None:
        """Note whether a member that was read to its end has the digest that it is named by."""
        if digest == _folder_and_digest(member)[1]:
            self._taken[member.name] = (digest, member.size)
            return
        key = "carry.member_cut" if member.size < member.said else "carry.member_damaged"
        raise CarryError(self._refuse(member, key, bytes=member.size, said=member.said))

    def _compare_with_end(self, member: Member) -> None:
        if member.size < member.said:
            return  # torn, which is said at the end
        found = self._archive.read(member.start, min(member.size, MAX_END))
        self._end_agrees = found == listing(self._taken)
        if not self._end_agrees:
            self._name_differences(found, member)
        self._taken[END] = (sha256(found), len(found))

    def _name_differences(self, found: bytes, member: Member) -> None:
        listed = listed_in(found)
        faults_before = self._fault_count
        for name in sorted(listed.keys() - self._taken.keys() - self._refused):
            self._note("carry.listed_not_here", member=name)
        for name in self._taken:
            if name not in listed:
                self._note("carry.not_listed", member=name)
            elif listed[name] != self._taken[name]:
                self._note("carry.not_as_listed", member=name)
        if self._fault_count == faults_before:
            self._note("carry.end_damaged", member=member.name, offset=member.offset)

    def _finish(self) -> None:
        if END not in self._taken:
            self._note("carry.torn", bytes=self._archive.size)
        # No byte was read by the directory; but where it says otherwise than the headers, other programs show another file.
        for name, is_link in self._archive.directory():
            if is_link:
                self._note("carry.link", member=name)
            elif name not in self._taken and name not in self._refused:
                self._note("carry.only_in_directory", member=name)
        self._note_unreadable()
        self.is_whole = self._end_agrees and not self.faults
        if self._end_agrees and not self._archive.is_closed:
            self._note("carry.directory_torn")
        if self._more_faults:
            self.faults.append(Fault("carry.more_faults", {"file": self.name, "n": self._more_faults}))

    @property
    def _fault_count(self) -> int:
        return len(self.faults) + self._more_faults

    def _note(self, key: str, /, **data: Any) -> Fault:
        fault = Fault(key, {"file": self.name, **data})
        if len(self.faults) < MAX_FAULTS:
            self.faults.append(fault)
        else:
            self._more_faults += 1
        return fault

    def _refuse(self, member: Member, key: str | None = None, /, **data: Any) -> Fault:
        if len(self._refused) < MAX_CONTENT:
            self._refused.add(member.name)
        key = key or f"carry.{member.trick or 'name_refused'}"
        return self._note(key, member=member.name, offset=member.offset, **data)

    def _note_unreadable(self) -> None:
        if self._archive.unreadable:
            offset, error = self._archive.unreadable
            self._note("carry.unreadable", offset=offset, why=error.strerror or str(error))


class ContentReader:
    """The bytes of one member, which prove themselves at their end."""

    def __init__(self, archive: Archive, member: Member, settle: Callable[[Member, str], None]) -> None:
        self._archive = archive
        self._member = member
        self._settle: Callable[[Member, str], None] | None = settle
        self._at = member.start
        self._hasher = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        """The next `size` bytes, fewer only at the end; all that are left where `size` is negative.

        Raises:
            CarryError: with these the bytes end, and they are not those of the digest.
        """
        if self._settle is None:
            return b""
        left = self._member.end - self._at
        wanted = left if size < 0 else min(size, left)
        piece = self._archive.read(self._at, wanted)
        self._at += len(piece)
        self._hasher.update(piece)
        if self._at == self._member.end or len(piece) < wanted:
            settle, self._settle = self._settle, None
            settle(self._member, self._hasher.hexdigest())
        return piece

    def prove(self) -> None:
        """Read what is left. What is wrong with it is noted in the faults of the carry file, not raised."""
        with suppress(CarryError):
            self.read(0)
            while self.read(PIECE):
                pass


class _Tally:
    """How many entries of each session were read, and how many there must be by their numbers."""

    def __init__(self) -> None:
        self._sessions: dict[str, tuple[int, int, bool]] = {}

    def add(self, entry: Entry) -> None:
        here, highest, is_closed = self._sessions.get(entry.session, (0, 0, False))
        if here or len(self._sessions) < MAX_SESSIONS:
            self._sessions[entry.session] = (here + 1, max(highest, entry.seq), is_closed or entry.kind == "close")

    def gaps(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """Key and data of a fault for each session that lacks entries, and one for all that do not say how many they have."""
        for session, (here, highest, is_closed) in sorted(self._sessions.items()):
            if here < highest:
                key = "carry.session_short" if is_closed else "carry.session_short_open"
                yield key, {"session": session, "here": here, "of": highest}
        unclosed = sum(not is_closed for _, _, is_closed in self._sessions.values())
        if unclosed:
            yield "carry.sessions_unclosed", {"n": unclosed}


def _folder_and_digest(member: Member) -> tuple[str, str]:
    folder, _, digest = member.name.partition("/")
    return folder, digest


def _is_after_entries(member: Member) -> bool:
    return member.trick != "gap" and (member.name == END or _folder_and_digest(member)[0] in MOST_BYTES)
