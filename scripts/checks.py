"""What test.py does once Python is recent enough: lint, types and tests, all of them run before any of them is reported."""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import environment

BROWSERS = ("chromium", "chromium-browser", "google-chrome")  # the same program under the names that systems give it
FONTS = Path("/usr/share/fonts")
# The Debian package of each program that the browser tests start: three engines, the display that one of them needs, and what
# makes a browser trust the base's own authority.
DEBIAN_PACKAGES = {
    "chromium": BROWSERS,
    "firefox-esr": ("firefox-esr", "firefox"),
    "webkit2gtk-driver": ("WebKitWebDriver",),
    "xvfb": ("Xvfb",),
    "libnss3-tools": ("certutil",),
}
FONT_PACKAGE = "fonts-dejavu-core"


def main(arguments: Sequence[str]) -> int:
    """Run the steps; 0 if all of them passed, else 1."""
    environment.speak_in_any_encoding()
    parser = argparse.ArgumentParser(
        prog="test.py", description="Lint, types and tests. What is not known here goes to pytest."
    )
    parser.add_argument("--only", choices=("lint", "types", "tests"), help="one kind of check alone")
    options, for_pytest = parser.parse_known_args(arguments)
    try:
        environment.prepare(environment.RUN_LOCK, environment.TEST_LOCK)
    except environment.SetupError as error:
        print(error, file=sys.stderr)
        return 1
    kinds = (options.only,) if options.only else ("lint", "types", "tests")
    if "tests" in kinds:
        _install_browsers()
    failed = {shlex.join(step): _run(step) != 0 for kind in kinds for step in _steps(for_pytest)[kind]}
    print()
    for step, has_failed in failed.items():
        print("FAILED" if has_failed else "passed", " ", step)
    return int(any(failed.values()))


def _steps(for_pytest: Sequence[str]) -> dict[str, list[list[str]]]:
    return {
        "lint": [["ruff", "check"], ["ruff", "format", "--check"], ["lint-imports", "--no-logo"]],
        "types": [["mypy"]],
        "tests": [["pytest", "-n", "3", "--dist", "loadfile", *for_pytest]],  # a later -n, given by hand, wins
    }


def _run(step: Sequence[str]) -> int:
    print("\n$ " + shlex.join(step))
    call = [str(environment.command(step[0])), *step[1:]]
    return subprocess.run(call, cwd=environment.ROOT, env=environment.variables(), check=False).returncode


def _install_browsers() -> None:
    """What the tests that drive the pages need, and letters to draw; where we may not install, say what to."""
    needed = _missing_packages()
    if not needed:
        return
    if shutil.which("apt-get") and os.geteuid() == 0:
        print("Installing " + ", ".join(needed) + " for the browser tests ...")
        apt = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run(["apt-get", "update", "-q"], env=apt, stdout=subprocess.DEVNULL, check=False)
        subprocess.run(["apt-get", "install", "-q", "-y", *needed], env=apt, stdout=subprocess.DEVNULL, check=False)
        return
    print(
        "Browser tests for which the browser is missing are skipped. Debian, Ubuntu: sudo apt-get install "
        + " ".join(needed)
        + "\n"
        "Fedora: sudo dnf install chromium firefox webkit2gtk-driver xorg-x11-server-Xvfb nss-tools dejavu-sans-fonts. "
        "macOS: brew install --cask chromium. Windows: install Chrome."
    )


def _missing_packages() -> list[str]:
    if os.name == "nt" or sys.platform == "darwin":  # they have fonts, and no WebKitGTK
        return [] if any(map(shutil.which, BROWSERS)) else ["chromium"]
    missing = [package for package, programs in DEBIAN_PACKAGES.items() if not any(map(shutil.which, programs))]
    return missing if any(FONTS.rglob("*.[to]tf")) else [*missing, FONT_PACKAGE]
