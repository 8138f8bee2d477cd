"""The carry file: sessions and photos in one file, to hand in by cable, card or mail.

A ZIP file of stored members in this order: `about.json` (whose programme, who wrote it), `entries.txt` (one line an entry; so
early that a torn file gives the most), `protocols/<digest>`, `photos/<digest>`, and `end.json` (name, digest and size of the
others). docs/carry-file.md says how to read one without us.

Promises: the same input gives the same bytes; a file has its name only once it was read back whole; reading keeps each line and
member that proves itself by its digest, names all others, holds a bounded amount in memory and changes nothing.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, BinaryIO
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from fieldkit import durable
from fieldkit.errors import Fault
from fieldkit.ledger.archive import Archive, Member
from fieldkit.ledger.canonical import canonical, parse, sha256
from fieldkit.ledger.entry import MAX_BYTES, Entry, is_digest, is_id, read
from fieldkit.ledger.errors import CarryError, EntryError

FORMAT = "fieldkit carry file"
VERSION = 1
ABOUT, ENTRIES, END = "about.json", "entries.txt", "end.json"

# Limits, chosen: what a programme needs many times over, and what a five-year-old laptop holds in memory with ease.
MOST_BYTES: Mapping[str, int] = {"protocols": 256 * 1024, "photos": 64 * 1024 * 1024}  # of one member, by its folder
MAX_ABOUT = 4096
MAX_ENTRIES_BYTES = 1024**3  # two million entries
MAX_CONTENT = 50_000
MAX_SESSIONS = 100_000
MAX_FAULTS = 1000
MAX_LINE = 64 + 1 + MAX_BYTES + 1
PIECE = 1024 * 1024

_NAMES = rb"(?:about\.json|entries\.txt|end\.json|(?:protocols|photos)/[0-9a-f]{64})"
_LINE_BEGINS = re.compile(rb"[0-9a-f]{64} \{")
_LISTED = re.compile(rb'\["([^"\\]{1,80})","([0-9a-f]{64})",(\d{1,12})\],?')
MAX_END = 170 * (MAX_CONTENT + 4)  # a line of it has at most 170 bytes
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the same for every member: no clock in the bytes


@dataclass(frozen=True)
class About:
    """Whose a carry file is. `programme` is a UUID; `source` the id of the device or base that wrote it."""

    programme: str
    programme_name: str
    source: str


@dataclass(frozen=True)
class CarryCount:
    """What was written, and by name what could not be: photos that are gone, damaged or too large."""

    entries: int
    content: Mapping[str, int]
    bytes: int
    left_out: tuple[Fault, ...] = ()


# Writing


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
            counted = _write(file, about, entries, content)
            file.flush()
            _read_back(partial, path)
            size = partial.stat().st_size
    except OSError as error:
        raise CarryError.of("carry.cannot_write", file=str(path), why=error.strerror or str(error)) from error
    return CarryCount(counted.entries, counted.content, size, counted.left_out)


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
        members[ABOUT] = _add(archive, ABOUT, [_about_body(about)])
        members[ENTRIES] = _add(archive, ENTRIES, lines)
        for (folder, digest), source in wanted:
            fault = _cannot_be_carried(folder, digest, source)
            if fault:
                left_out.append(fault)
            else:
                name = f"{folder}/{digest}"
                members[name] = _add(archive, name, _pieces_of(source))
        _add(archive, END, [_listing(members)])
    carried = {folder: sum(name.startswith(f"{folder}/") for name in members) for folder in MOST_BYTES}
    return CarryCount(lines.n, carried, 0, tuple(left_out))


def _about_body(about: About) -> bytes:
    body = canonical({"format": FORMAT, "version": VERSION, **asdict(about)})
    if len(body) > MAX_ABOUT:
        raise CarryError.of("carry.name_too_long", bytes=len(body), most=MAX_ABOUT)
    return body


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


def _listing(members: Mapping[str, tuple[str, int]]) -> bytes:
    """The bytes of end.json: JSON, one member a line."""
    lines = ",\n".join(f'["{name}","{digest}",{size}]' for name, (digest, size) in members.items())
    return f'{{"members":[\n{lines}\n]}}\n'.encode("ascii")


def _read_back(partial: Path, path: Path) -> None:
    with read_carry(partial) as carry:
        carry.prove()
        if not carry.is_whole or carry.faults:
            raise CarryError(Fault("carry.read_back", {"file": str(path)}), *carry.faults)


# Reading


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
        self._proven: dict[str, tuple[str, int]] = {}
        self._refused: set[str] = set()
        self._end_agrees = False
        self._archive = Archive(file, _NAMES)
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
        if member is not None and member.trick not in (None, "gap"):
            raise CarryError.of(f"carry.{member.trick}", file=self.name, member=member.name, offset=member.offset)
        if member is None or member.name != ABOUT:
            raise CarryError.of("carry.no_carry_file", file=self.name)
        body = self._archive.read(member.start, min(member.size, MAX_ABOUT + 1))
        if len(body) != member.said or zlib.crc32(body) != member.crc:
            raise CarryError.of("carry.about_damaged", file=self.name)
        self._proven[ABOUT] = (hashlib.sha256(body).hexdigest(), len(body))
        return _about(body, self.name)

    def _read_entries(self) -> Iterator[Entry]:
        while self._next is not None and ENTRIES not in self._proven and not _is_after_entries(self._next):
            member = self._next
            if member.name == ENTRIES and not member.trick:
                yield from self._read_lines(member)
            elif _LINE_BEGINS.search(self._archive.read(member.start, min(member.size, 256))):
                # Only the header is damaged. Lines prove themselves wherever they stand.
                self._note("carry.entries_header", member=ENTRIES, offset=member.offset)
                yield from self._read_lines(member)
            else:
                self._note_trick(member)
            self._next = next(self._members, None)

    def _read_lines(self, member: Member) -> Iterator[Entry]:
        hasher = hashlib.sha256()
        tally = _Tally()
        faults_before = self._fault_count
        for number, at, line in self._archive.lines(member, MAX_LINE):
            hasher.update(line)
            entry = self._entry_of(line, {"member": ENTRIES, "line": number, "offset": at})
            if entry:
                tally.add(entry)
                yield entry
        self._proven[ENTRIES] = (hasher.hexdigest(), member.size)
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
            if member.name == END and not member.trick and END not in self._proven:
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
        if member.trick or folder not in MOST_BYTES or not is_digest(digest) or END in self._proven:
            self._note_trick(member)
        elif member.name in self._proven:
            self._note("carry.twice", member=member.name, offset=member.offset)
        elif len(self._proven) + len(self._refused) >= MAX_CONTENT + 2:
            self._note("carry.too_many_members", member=member.name, offset=member.offset, most=MAX_CONTENT)
        elif size > MOST_BYTES[folder]:
            self._refused.add(member.name)
            most = MOST_BYTES[folder]
            self._note("carry.member_too_large", member=member.name, offset=member.offset, bytes=size, most=most)
        else:
            return True
        return False

    def _settle(self, member: Member, digest: str) -> None:
        """Note whether a member that was read to its end has the digest that it is named by."""
        if digest == _folder_and_digest(member)[1]:
            self._proven[member.name] = (digest, member.size)
            return
        self._refused.add(member.name)
        key = "carry.member_cut" if member.size < member.said else "carry.member_damaged"
        self._note(key, member=member.name, offset=member.offset, bytes=member.size, said=member.said)
        raise CarryError(self.faults[-1])

    def _compare_with_end(self, member: Member) -> None:
        found = self._archive.read(member.start, min(member.size, MAX_END))
        self._end_agrees = found == _listing(self._proven)
        if not self._end_agrees:
            self._name_differences(found, member)
        self._proven[END] = (sha256(found), len(found))

    def _name_differences(self, found: bytes, member: Member) -> None:
        listed = {m[1].decode("ascii", "replace"): (m[2].decode(), int(m[3])) for m in _LISTED.finditer(found)}
        faults_before = self._fault_count
        for name in sorted(listed.keys() - self._proven.keys() - self._refused):
            self._note("carry.listed_not_here", member=name)
        for name in self._proven:
            if name not in listed:
                self._note("carry.not_listed", member=name)
            elif listed[name] != self._proven[name]:
                self._note("carry.not_as_listed", member=name)
        if self._fault_count == faults_before:
            self._note("carry.end_damaged", member=member.name, offset=member.offset)

    def _finish(self) -> None:
        if END not in self._proven:
            self._note("carry.torn", bytes=self._archive.size)
        # No byte was read by the directory; but where it says otherwise than the headers, other programs show another file.
        for name, is_link in self._archive.directory():
            if is_link:
                self._note("carry.link", member=name)
            elif name not in self._proven and name not in self._refused:
                self._note("carry.only_in_directory", member=name)
        self.is_whole = self._end_agrees and not self.faults
        if self._end_agrees and not self._archive.is_closed:
            self._note("carry.directory_torn")
        if self._more_faults:
            self.faults.append(Fault("carry.more_faults", {"file": self.name, "n": self._more_faults}))

    @property
    def _fault_count(self) -> int:
        return len(self.faults) + self._more_faults

    def _note(self, key: str, /, **data: Any) -> None:
        if len(self.faults) < MAX_FAULTS:
            self.faults.append(Fault(key, {"file": self.name, **data}))
        else:
            self._more_faults += 1

    def _note_trick(self, member: Member) -> None:
        self._note(f"carry.{member.trick or 'name_refused'}", member=member.name, offset=member.offset)


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
        left = self._member.end - self._at
        piece = self._archive.read(self._at, left if size < 0 else min(size, left))
        self._at += len(piece)
        self._hasher.update(piece)
        if self._at == self._member.end and self._settle:
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


def _about(body: bytes, file: str) -> About:
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


def _folder_and_digest(member: Member) -> tuple[str, str]:
    folder, _, digest = member.name.partition("/")
    return folder, digest


def _is_after_entries(member: Member) -> bool:
    return member.trick != "gap" and (member.name == END or _folder_and_digest(member)[0] in MOST_BYTES)
