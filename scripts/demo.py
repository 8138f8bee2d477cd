"""What start.py does once Python is recent enough: the invented programme, built from its carry files, shown and served.

It goes through the `fieldkit` command as a person would. The folder takes its name only when it is whole; merging the
devices of the boat day changes nothing the second time, so it is done at every start.
"""

from __future__ import annotations

import argparse
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import environment
from environment import SetupError, say

SAMPLES = environment.ROOT / "sample_surveys"


def main(arguments: Sequence[str]) -> int:
    """Build, show and serve; the exit code is 0, that of the server, or 1 where something was missing."""
    environment.speak_in_any_encoding()
    options = _options(arguments)
    folder = options.folder.resolve()
    try:
        environment.prepare(environment.RUN_LOCK)
        if not is_base(folder):
            build(folder)
        take_in(folder)
        show(folder)
    except SetupError as error:
        print(error, file=sys.stderr)
        return 1
    print(say("start.ready", folder=folder))
    return 0 if options.no_serve else _serve(folder, options.port)


def is_base(folder: Path) -> bool:
    return (folder / "fieldkit.db").is_file()


def build(folder: Path) -> None:
    """Make a base of the sample programme in `folder`: beside it first, under its name once whole.

    Raises:
        SetupError: `folder` holds something else, or a step failed; then `folder` is as it was.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise SetupError("start.not_a_base", folder=folder)
    print(say("start.building", folder=folder))
    workshop = folder.with_name(f"{folder.name}.half-built")
    try:
        shutil.rmtree(workshop, ignore_errors=True)  # left by a run that was cut short
        workshop.mkdir(parents=True)
        (workshop / ".gitignore").write_text("*\n")
        _fieldkit(workshop / "base", "init", "--from", SAMPLES / "programme.zip")
        if folder.exists():
            folder.rmdir()
        (workshop / "base").rename(folder)
        shutil.rmtree(workshop)
    except OSError as error:
        raise SetupError("start.cannot_write", path=error.filename or folder, reason=error.strerror or error) from error


def take_in(folder: Path) -> None:
    """Merge what three devices bring back from a boat day.

    Raises:
        SetupError: the step failed.
    """
    _fieldkit(folder, "merge", *sorted((SAMPLES / "boat_day").glob("*.zip")))


def show(folder: Path) -> None:
    """Say what needs settling and what survives.

    Raises:
        SetupError: a step failed.
    """
    _fieldkit(folder, "matters")
    _fieldkit(folder, "survival", "--by", "site")
    _fieldkit(folder, "survival", "--by", "genotype")


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="start.py", description=say("start.description"))
    parser.add_argument("--no-serve", action="store_true", help=say("start.help_no_serve"))
    parser.add_argument("--folder", type=Path, metavar="DIR", default=environment.ROOT / "demo", help=say("start.help_folder"))
    parser.add_argument("--port", type=int, metavar="N", help=say("start.help_port"))
    return parser.parse_args(arguments)


def _fieldkit(folder: Path, *arguments: str | Path) -> None:
    call = _call(folder, *arguments)
    print("\n$ " + shlex.join([_from_the_top(Path(call[0])), *call[1:]]))
    code = subprocess.run(call, cwd=environment.ROOT, env=environment.variables(), check=False).returncode
    if code:
        raise SetupError("start.step_failed", code=code, command=shlex.join(call))


def _call(folder: Path, *arguments: str | Path) -> list[str]:
    """A call of fieldkit as somebody would type it at the top of the checkout; Windows wants the program's whole path."""
    return [str(environment.command("fieldkit")), *map(_from_the_top, ("--data", folder, *arguments))]


def _from_the_top(part: str | Path) -> str:
    is_inside = isinstance(part, Path) and part.is_relative_to(environment.ROOT)
    return str(Path(part).relative_to(environment.ROOT)) if is_inside else str(part)


def _serve(folder: Path, port: int | None) -> int:
    """Serve until somebody ends it; whoever ends this script ends the server too."""
    call = _call(folder, "serve", "--open", *(() if port is None else ("--port", str(port))))
    server = subprocess.Popen(call, cwd=environment.ROOT, env=environment.variables())
    signal.signal(signal.SIGTERM, lambda *_: server.terminate())
    while True:
        try:
            return server.wait()
        except KeyboardInterrupt:  # the terminal sends it to the server as well, which closes in its own way
            continue
