"""Making a backup, and putting one back.

    PLACE/fieldkit <programme> <first digits of the base's id>/
        fieldkit.db  photos/  protocols/  access.db  authority/  known_bases.json

The database is copied first, of one moment, whoever writes meanwhile; photos and protocols that came later do no harm. It
gets its name only after it was opened, read through and folded from nothing. Photos are copied once, each proved by its digest.
What was redacted goes from the backup too.
"""

from __future__ import annotations

import shutil
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import mkdtemp

from fieldkit.backup.errors import BackupError
from fieldkit.backup.place import Kept, remember
from fieldkit.base import Base, SavedMappings, is_base
from fieldkit.base.database import FILE as DATABASE
from fieldkit.durable import force, force_folder, whole_file
from fieldkit.errors import Fault, FieldkitError
from fieldkit.photos import PhotoError, PhotoStore

_SECRETS = ("authority/authority.key", "authority/authority.crt", "known_bases.json")
_ACCESS = "access.db"
_WORDS = 40  # of the programme's name, in the folder's

Told = Callable[[int, int], None]


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds."""

    folder: Path
    entries: int
    new_content: int
    """Photos and protocols that were not in it before."""
    same_disk: bool
    """Whether it lies on the disk that the base lies on: it helps against a slip, not against a lost laptop."""
    faults: tuple[Fault, ...]
    """Photos of the base that are damaged; they were not copied."""


def back_up(base: Base, place: Path, *, told: Told = lambda _done, _of: None) -> BackedUp:
    """Make a backup of a base, or bring the one in that place up to date. The base may be served meanwhile.

    Args:
        place: a folder, best on another disk; it is remembered.
        told: is called with how many of how many photos are done.

    Raises:
        BackupError: it could not be written or did not prove itself, or the backup there holds what this base does not.
    """
    if not place.is_dir():
        raise BackupError.of("backup.no_place", place=str(place))
    if place.resolve().is_relative_to(base.folder.resolve()):
        raise BackupError.of("backup.inside", place=str(place), folder=str(base.folder))
    folder = place / folder_name(base)
    with _told_in_words(place):
        folder.mkdir(exist_ok=True)
        entries = _copy_database(base, folder)
        redacted = _redacted(base)
        stores = [(base.protocols, PhotoStore(folder / "protocols")), (base.photos, PhotoStore(folder / "photos"))]
        new_content, faults = _copy_content(stores, redacted, told)
        for digest in redacted:
            PhotoStore(folder / "photos").path(digest).unlink(missing_ok=True)
        _copy_secrets(base.folder, folder)
        _copy_mappings(base.folder, folder)
    remember(base.folder, Kept(str(place.absolute()), time.time_ns() // 1_000_000))
    same_disk = folder.stat().st_dev == base.folder.stat().st_dev
    return BackedUp(folder, entries, new_content, same_disk, tuple(faults))


def restore(backup: Path, folder: Path, *, told: Told = lambda _done, _of: None) -> Base:
    """Put a backup back: a base in `folder`, which must not be there yet or be empty. It appears whole or not at all.

    Devices hand in again whatever it does not know; nothing need be done for it. What it says itself from now on stands in
    sessions of its own, as always.

    Raises:
        BackupError: no backup, a damaged one, or the folder is taken.
    """
    if not is_base(backup):
        raise BackupError.of("backup.no_backup", folder=str(backup))
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BackupError.of("base.folder_taken", folder=str(folder))
    with _told_in_words(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        made = Path(mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        try:
            _copy_sqlite(backup / DATABASE, made / DATABASE)
            stores = [(PhotoStore(backup / name), PhotoStore(made / name)) for name in ("protocols", "photos")]
            _, faults = _copy_content(stores, frozenset(), told)
            _copy_secrets(backup, made)
            _copy_mappings(backup, made)
            faults += Base(made).check_ledger()
            if faults:
                raise BackupError(Fault("backup.damaged", {"folder": str(backup)}), *faults)
            remember(made, Kept(str(backup.parent.absolute()), None))
            if folder.exists():
                folder.rmdir()
            made.chmod(0o755)
            made.rename(folder)
            force_folder(folder.parent)
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
    return Base(folder)


def _copy_mappings(source: Path, target: Path) -> None:
    """The mappings that are kept by name: whoever has to write them again has lost what the sheets meant."""
    saved, copies = SavedMappings(source / "mappings"), SavedMappings(target / "mappings")
    for name in saved.names():
        copies.save(name, saved.read(name).decode())


def folder_name(base: Base) -> str:
    """What the folder of its backup is called: readable, and another for each base."""
    words = "".join(letter if letter.isalnum() else " " for letter in base.programme_name)
    return f"fieldkit {' '.join(words.split())[:_WORDS].strip()} {base.id.replace('-', '')[-8:]}"


def _copy_database(base: Base, folder: Path) -> int:
    """The database of this moment, under its name only after it was proved. Returns how many entries it holds."""
    target = folder / DATABASE
    if target.exists():
        _refuse_to_forget(base, folder)
    with _workshop(folder) as made:
        _copy_sqlite(base.folder / DATABASE, made / DATABASE)
        # A fold reads protocol files; all that the copy speaks of were there before it was made.
        _copy_content([(base.protocols, PhotoStore(made / "protocols"))], frozenset(), lambda _done, _of: None)
        copy = Base(made)
        faults = copy.check_ledger()
        if faults:
            raise BackupError(Fault("backup.not_proved", {}), *faults)
        with copy.glance() as view:
            entries = sum(view.ledger.counts().values())
        _as_one_file(made / DATABASE)
        for name in ("-wal", "-shm"):  # of somebody who opened the backup: a log of the old file would spoil the new one
            Path(f"{target}{name}").unlink(missing_ok=True)
        (made / DATABASE).replace(target)
        force_folder(folder)
    return entries


@contextmanager
def _workshop(folder: Path) -> Iterator[Path]:
    made = Path(mkdtemp(prefix=".new-", dir=folder))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _refuse_to_forget(base: Base, folder: Path) -> None:
    """A base that was itself put back from an older backup must not take the place of a newer one."""
    ours = f"{(base.folder / DATABASE).absolute().as_uri()}?mode=ro"
    theirs = f"{(folder / DATABASE).absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(ours, uri=True)) as connection:
        connection.execute("ATTACH ? AS backup", [theirs])
        (n,) = connection.execute(
            "SELECT count(*) FROM backup.ledger WHERE digest NOT IN (SELECT digest FROM main.ledger)"
        ).fetchone()
    if n:
        raise BackupError.of("backup.holds_more", folder=str(folder), n=n)


def _copy_sqlite(source: Path, target: Path) -> None:
    """A database as it is at one moment, forced to the disk; whoever writes to it need not wait."""
    address = f"{source.absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(address, uri=True)) as from_, closing(sqlite3.connect(target)) as to:
        from_.backup(to)
    with target.open("rb+") as file:
        force(file)


def _as_one_file(database: Path) -> None:
    """Without a log beside it, so that it can be copied by anybody."""
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    with database.open("rb+") as file:
        force(file)


def _redacted(base: Base) -> frozenset[str]:
    with base.glance() as view:
        return view.redacted()


def _copy_content(
    stores: Iterable[tuple[PhotoStore, PhotoStore]], redacted: frozenset[str], told: Told
) -> tuple[int, list[Fault]]:
    """Copy what is not there yet; returns how much that was, and what could not be."""
    faults: list[Fault] = []
    copied = 0
    for ours, theirs in stores:
        lacking = sorted(set(ours.digests()) - set(theirs.digests()) - redacted)
        for done, digest in enumerate(lacking, 1):
            try:
                with ours.open(digest) as file:
                    copied += theirs.put(file, digest)
            except PhotoError as error:
                if error.faults[0].key == "photos.disk_full":
                    raise
                faults += error.faults
            told(done, len(lacking))
    return copied, faults


def _copy_secrets(source: Path, target: Path) -> None:
    """Who may speak to the base, and its authority's key: without it every phone would have to be visited again."""
    if (source / _ACCESS).exists():
        with _workshop(target) as made:
            _copy_sqlite(source / _ACCESS, made / _ACCESS)
            _as_one_file(made / _ACCESS)
            (made / _ACCESS).chmod(0o600)
            (made / _ACCESS).replace(target / _ACCESS)
    for name in _SECRETS:
        if (source / name).exists():
            (target / name).parent.mkdir(mode=0o700, exist_ok=True)
            with whole_file(target / name, target / f"{name}.part") as file:
                Path(file.name).chmod(0o600)
                file.write((source / name).read_bytes())
    force_folder(target)


@contextmanager
def _told_in_words(place: Path) -> Iterator[None]:
    try:
        yield
    except BackupError:
        raise
    except FieldkitError as error:
        raise BackupError(Fault("backup.failed", {"place": str(place), "why": error.texts()[0]}), *error.faults) from error
    except (OSError, sqlite3.Error) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BackupError.of("backup.failed", place=str(place), why=why) from error
