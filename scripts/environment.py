"""The project's own environment, `.venv` at the top of the checkout: made where absent, renewed where a lock file changed.

Used by start.py and test.py before anything is installed, so with the standard library alone. Promises: after `prepare`
the environment holds exactly the locked versions and fieldkit itself, or `SetupError` says in words what is missing. An
interrupted run leaves nothing that a later one takes for done.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import locale
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
LOG = VENV / "install.log"
DONE = VENV / "installed.json"  # what was installed to the end: file name to digest; absent or different means "not yet"

LANGUAGES = ("en", "es")  # those of fieldkit/messages
RUN_LOCK = "scripts/requirements.lock"
TEST_LOCK = "scripts/requirements-test.lock"

# Ready-made files only: a crew's laptop has no compiler, and a build that fails after ten minutes tells nothing.
# autograd-gamma, which a test witness needs, is published as source alone; it is pure Python.
READY_MADE = ("--only-binary=:all:", "--no-binary=autograd-gamma")
NO_CONNECTION = re.compile(r"connection|timed? ?out|name resolution|getaddrinfo|unreachable|proxy", re.IGNORECASE)
NO_PACKAGE = re.compile(r"No matching distribution found for (\S+)")


class SetupError(Exception):
    """The script cannot go on; says what is missing and what to do about it."""

    def __init__(self, key: str, /, **data: object) -> None:
        super().__init__(say(key, **data))


def language() -> str:
    """The terminal's language, chosen as the commands choose it; the library that knows all languages is not installed yet."""
    named = [os.environ.get(name, "") for name in ("FIELDKIT_LANG", "LC_ALL", "LC_MESSAGES", "LANG")]
    for tag in (*named, locale.getlocale()[0] or ""):  # Windows sets none of the four
        if tag[:2].lower() in LANGUAGES:
            return tag[:2].lower()
    return LANGUAGES[0]


def say(key: str, /, **data: object) -> str:
    """A sentence of the catalogue `start`, filled in."""
    room, _, name = key.partition(".")
    texts = tomllib.loads((ROOT / "fieldkit" / "messages" / language() / f"{room}.toml").read_text("utf-8"))
    return str(texts[name]).format(**data)


def speak_in_any_encoding() -> None:
    """A terminal that cannot show a letter gets a question mark in its place, not a crash."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace", line_buffering=True)  # type: ignore[union-attr]


def prepare(*locks: str) -> None:
    """Make or renew the environment so that it holds what these lock files list, and fieldkit.

    Raises:
        SetupError: something is missing: a module, the right to write, the network, a package.
    """
    try:
        _forget_another_checkout()
        if not _works():
            _make()
        for lock in locks:
            if not _is_installed(lock):
                print(say("start.installing", lock=lock))
                _pip(*READY_MADE, "-r", str(ROOT / lock))
                _record(lock)
        if not _is_installed("pyproject.toml"):
            print(say("start.installing_itself"))
            _pip("--no-deps", "--no-build-isolation", "--editable", str(ROOT))
            _record("pyproject.toml")
    except OSError as error:
        raise SetupError("start.cannot_write", path=error.filename or ROOT, reason=error.strerror or error) from error


def command(name: str) -> Path:
    """Where a command lies that is installed in the environment."""
    return BIN / (f"{name}.exe" if os.name == "nt" else name)


def variables() -> dict[str, str]:
    """The environment variables for what runs inside: nothing of another Python, and no crash in any encoding."""
    ours = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    encoding = ours.get("PYTHONIOENCODING", "").partition(":")[0]
    return {"FIELDKIT_LANG": language(), **ours, "PYTHONIOENCODING": f"{encoding}:replace"}


def _forget_another_checkout() -> None:
    """A copied or moved folder brings an environment whose commands still point to the old place."""
    if _installed().get("root", str(ROOT)) != str(ROOT):
        PYTHON.unlink(missing_ok=True)


def _works() -> bool:
    """Whether there is an environment, of a Python that is recent enough, with pip (which comes last when one is made)."""
    probe = "import sys, pip; sys.exit(sys.version_info < (3, 11))"
    try:
        return subprocess.run([PYTHON, "-c", probe], env=variables(), capture_output=True, check=False).returncode == 0
    except OSError:  # no such file, or one that this system cannot run
        return False


def _make() -> None:
    version = "{}.{}".format(*sys.version_info)
    for module in ("venv", "ensurepip"):  # Debian ships venv without ensurepip, and venv alone cannot install anything
        if importlib.util.find_spec(module) is None:
            raise SetupError("start.no_venv", python=sys.executable, module=module, version=version)
    print(say("start.making_environment", folder=VENV))
    VENV.mkdir(exist_ok=True)
    outside = getattr(
        sys, "_base_executable", sys.executable
    )  # this script may be run by the very environment that is being replaced
    made = subprocess.run(
        [outside, "-m", "venv", "--clear", str(VENV)], env=variables(), capture_output=True, text=True, check=False
    )
    if made.returncode:
        raise SetupError("start.venv_failed", folder=VENV, output=(made.stdout + made.stderr).strip())


def _pip(*arguments: str) -> None:
    call = [str(PYTHON), "-m", "pip", "install", "--disable-pip-version-check", "--no-input", *arguments]
    with (
        LOG.open("w", encoding="utf-8") as log,
        subprocess.Popen(
            call, env=variables(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8", errors="replace"
        ) as pip,
    ):
        for line in pip.stdout or ():
            log.write(line)
            if line.startswith("Collecting "):  # a dot for each package: on a boat's network it takes its time
                print(".", end="", flush=True)
    print()
    if pip.returncode:
        raise _reason(LOG.read_text("utf-8"))


def _reason(record: str) -> SetupError:
    """What pip's record of a failed run says of the cause."""
    lines = [line for line in record.splitlines() if line.strip()]
    output = "\n".join(f"  {line}" for line in lines[-8:])
    if NO_CONNECTION.search(record):
        return SetupError("start.no_network", output=output, log=LOG)
    if missing := NO_PACKAGE.search(record):
        return SetupError("start.no_such_package", version=sys.version.split()[0], package=missing[1], log=LOG)
    return SetupError("start.pip_failed", output=output, log=LOG)


def _is_installed(name: str) -> bool:
    return bool(_installed().get(name) == _digest(name))


def _installed() -> dict[str, Any]:
    try:
        found = json.loads(DONE.read_text("utf-8"))
    except (FileNotFoundError, NotADirectoryError, ValueError):  # a damaged one says nothing: install again
        return {}
    return found if isinstance(found, dict) else {}


def _record(name: str) -> None:
    state = _installed() | {"root": str(ROOT), name: _digest(name)}
    unfinished = DONE.with_suffix(".tmp")
    unfinished.write_text(json.dumps(state, indent=2), "utf-8")
    unfinished.replace(DONE)


def _digest(name: str) -> str:
    return hashlib.sha256((ROOT / name).read_bytes()).hexdigest()
