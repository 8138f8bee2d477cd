"""`fieldkit merge`: take in carry files and other bases. Each is judged by itself: one that is refused holds up no other."""

from __future__ import annotations

import socket
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from fieldkit.base import Base, Merged, is_base, merge_base
from fieldkit.cli.command import DONE, WRONG, Command, as_json
from fieldkit.cli.shown import counted_at_work, each_at_work, print_json, print_table, table
from fieldkit.cli.words import LANGUAGE, number, say
from fieldkit.errors import Fault, FieldkitError
from fieldkit.exchange import fetched, meet, reached
from fieldkit.photos import PhotoError, look_at

_NAME_LENGTH = 60


@click.command("merge", cls=Command, help=say("cli.help_merge"))
@click.argument("sources", nargs=-1, required=True, metavar=say("cli.metavar_sources"))
@click.option("--code", metavar=say("cli.metavar_code"), help=say("cli.help_code"))
@click.option("--fingerprint", metavar=say("cli.metavar_fingerprint"), help=say("cli.help_fingerprint"))
@click.option("--full", is_flag=True, help=say("cli.help_full"))
@as_json
@click.pass_context
def command(
    context: click.Context, sources: Sequence[str], code: str | None, fingerprint: str | None, full: bool, as_json: bool
) -> None:
    base = Base(context.obj)
    addresses = [source for source in sources if source.startswith("https://")]
    found = list(_carried_by(source for source in sources if source not in addresses))
    merged = [_taken_in(base, source) for source in each_at_work(found, say("cli.merging"))]
    merged += [_met(base, address, code, fingerprint, full=full) for address in addresses]
    if as_json:
        print_json([_as_json(one) for one in merged])
    else:
        for one in merged:
            tell_merged(base, one, by_session=True)
    context.exit(WRONG if any(one.faults for one in merged) else DONE)


def _met(base: Base, address: str, code: str | None, fingerprint: str | None, *, full: bool) -> Merged:
    """Exchange everything with a base on the network. What it was given is told at once, what it gave as of a file."""
    try:
        wire, known = reached(
            base.folder,
            address,
            code=code,
            name=socket.gethostname()[:_NAME_LENGTH] or base.programme_name[:_NAME_LENGTH],
            is_right=lambda shown: _is_right(shown, fingerprint),
        )
        try:
            with counted_at_work(say("cli.meeting")) as told:
                met = meet(base, wire, address=address, after=known.after, full=full, told=told)
        finally:
            wire.close()
        fetched(base.folder, known, met.after)
    except FieldkitError as error:
        return Merged(address, 0, 0, {}, {}, 0, error.faults)
    click.echo(say("cli.gave", address=address, n=met.gave.entries, content=met.gave.photos), err=True)
    refused = [Fault("exchange.they_refused", {"digest": digest, "why": why}) for digest, why in met.gave.refused]
    return replace(met.took, faults=(*met.took.faults, *refused))


def _is_right(shown: str, given: str | None) -> bool:
    """Whether the fingerprint that came over the network is the one that stands on the other base's page."""
    if given is not None:
        return _digits(given) == _digits(shown)
    return click.confirm(say("cli.compare_fingerprint", fingerprint=shown), err=True)


def _digits(fingerprint: str) -> str:
    return "".join(letter for letter in fingerprint.upper() if letter.isalnum())


def tell_merged(base: Base, merged: Merged, *, by_session: bool) -> None:
    """Say what a carry file or a base brought, and what of it could not be taken."""
    counts = {"new": merged.new, "known": merged.known, "content": merged.content}
    click.echo(say("cli.merged", file=Path(merged.file).name or merged.file, n=len(merged.sessions), **counts))
    if by_session:
        _tell_sessions(base, merged)
    for fault in merged.faults:
        click.echo(fault.text(LANGUAGE))


def _carried_by(sources: Iterable[str]) -> Iterator[Path]:
    """The files and bases that are meant: of a folder, the base that it is and the carry files in it."""
    for given in sources:
        source = Path(given)
        # What begins with a dot is no file of ours: a Mac leaves such beside each file on a card, an unfinished write another.
        inside = sorted(path for path in source.glob("*") if path.suffix.lower() == ".zip" and not path.name.startswith("."))
        if source.is_file() or is_base(source):
            yield source
        elif not inside:
            raise click.UsageError(say("cli.nothing_to_merge" if source.is_dir() else "cli.no_source", given=given))
        yield from inside


def _taken_in(base: Base, source: Path) -> Merged:
    try:
        merged = merge_base(base, source) if source.is_dir() else base.merge(source)
    except FieldkitError as error:
        return Merged(str(source), 0, 0, {}, {}, 0, error.faults)
    return replace(merged, faults=(*merged.faults, *_no_photos(base, merged)))


def _no_photos(base: Base, merged: Merged) -> Iterator[Fault]:
    """What came as a photo and is none. Its bytes are as the device sealed them, so they are kept, with what was noted."""
    with base.view() as view:
        for session in _sessions(merged):
            for photo in view.photos_of_session(session):
                try:
                    if base.photos.has(photo["photo"] or ""):
                        look_at(base.photos.path(photo["photo"]))
                except PhotoError as error:
                    why = " ".join(error.texts(LANGUAGE))
                    yield Fault("cli.no_photo", {"file": Path(merged.file).name, "session": session, "why": why})


def _sessions(merged: Merged) -> list[str]:
    return sorted({*merged.sessions, *merged.sessions_known, *_lacking(merged)})


def _lacking(merged: Merged) -> Mapping[str, int]:
    """How many entries of a session did not come through, as far as the numbers of the others tell."""
    told = [fault.data for fault in merged.faults if fault.key in ("carry.session_short", "carry.session_short_open")]
    return {data["session"]: data["of"] - data["here"] for data in told}


def _counts(merged: Merged, session: str) -> dict[str, int]:
    known, lacking = merged.sessions_known.get(session, 0), _lacking(merged).get(session, 0)
    return {"new": merged.sessions.get(session, 0), "known": known, "refused": lacking}


def _as_json(merged: Merged) -> dict[str, Any]:
    return {
        "file": merged.file,
        "new": merged.new,
        "known": merged.known,
        "content": merged.content,
        "sessions": {session: _counts(merged, session) for session in _sessions(merged)},
        "faults": [fault.text(LANGUAGE) for fault in merged.faults],
    }


def _tell_sessions(base: Base, merged: Merged) -> None:
    """The sessions that brought something or lack something; those that were known already say nothing new."""
    told = {
        session: counts for session in _sessions(merged) if (counts := _counts(merged, session))["new"] or counts["refused"]
    }
    if not told:
        return
    shown = table("day", "site", "recorder", "new", "known", "refused", right=("new", "known", "refused"))
    with base.view() as view:
        sites, sessions = view.things("site"), view.sessions(told)
    for session, counts in sorted(told.items(), key=lambda item: (sessions[item[0]].day or "", item[0])):
        row = sessions[session]
        site = sites.get(row.site or "", {}).get("name", "")
        shown.add_row(row.day or "", site, str(row.session.values.get("recorder", "")), *map(number, counts.values()))
    print_table(shown)
