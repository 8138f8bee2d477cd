"""Commands as they are typed: through the installed program, or in this process where only their words matter."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from fieldkit.base import Base
from fieldkit.cli.program import fieldkit

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_surveys"
INSTALLED = Path(sys.executable).with_name("fieldkit.exe" if os.name == "nt" else "fieldkit")


@dataclass(frozen=True)
class Told:
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)

    @property
    def lines(self) -> list[str]:
        return self.out.splitlines()


def installed(*arguments: str | Path, data: Path | None = None, **variables: str) -> Told:
    """The installed command in a process of its own, in English unless `variables` say otherwise."""
    ours = {name: value for name, value in os.environ.items() if name not in ("LC_ALL", "LC_MESSAGES", "LANG", "FIELDKIT_DATA")}
    call = [INSTALLED, *(["--data", data] if data else []), *arguments]
    done = subprocess.run(call, capture_output=True, check=False, env={**ours, "FIELDKIT_LANG": "en", **variables})
    return Told(done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode("utf-8", "replace"))


def typed(data: Path, *arguments: str | Path, typing: str | None = None) -> Told:
    """The same command, run in this process; `typing` is what another program sends it."""
    done = CliRunner().invoke(
        fieldkit, ["--data", str(data), *map(str, arguments)], input=typing, prog_name="fieldkit", catch_exceptions=False
    )
    return Told(done.exit_code, done.stdout, done.stderr)


def state_of(data: Path) -> str:
    """The digest of the state: equal if and only if nothing changed."""
    with Base(data).view() as view:
        return view.digest()
