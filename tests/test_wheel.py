"""What is installed is whole: the wheel, put into an environment of its own, works far from the checkout."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tarfile
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
IN_THE_CHECKOUT = {folder: ROOT / folder for folder in ("static", "sample_surveys")}


def run(*command: str | Path, cwd: Path) -> str:
    elsewhere = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHONPATH", "FIELDKIT"))}
    done = subprocess.run([str(part) for part in command], cwd=cwd, env=elsewhere, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist and the wheel that is built from it, as a packager would."""
    folder = tmp_path_factory.mktemp("built")
    run(sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", folder, cwd=ROOT)
    source = next(folder.glob("*.tar.gz"))
    run(sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "-q", "-w", folder, source, cwd=folder)
    return folder


@pytest.fixture(scope="module")
def python(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The Python of a new environment that holds the wheel, and borrows what it depends on from this one."""
    home = tmp_path_factory.mktemp("installed")
    run(sys.executable, "-m", "venv", "--without-pip", home, cwd=home)
    new = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    wheel = next(built.glob("*.whl"))
    run(sys.executable, "-m", "pip", "--python", new, "install", "--no-deps", "--no-index", "-q", wheel, cwd=home)
    site = Path(run(new, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).strip())
    borrowed = [folder for folder in sys.path if folder.endswith("site-packages")]
    (site / "borrowed.pth").write_text("\n".join(borrowed))  # lines of a .pth are not read further: no editable fieldkit
    return new


def listed(python: Path, expression: str) -> list[str]:
    """The files below a folder of the installed package, as it finds them itself."""
    code = f"from fieldkit import shipped; from importlib.resources import files; top = {expression}\n"
    code += (
        "print(*sorted(p.relative_to(top).as_posix() for p in top.rglob('*') if p.is_file() and p.suffix != '.pyc'), sep='\\n')"
    )
    return run(python, "-c", code, cwd=python.parent).split("\n")[:-1]


def in_git(folder: Path) -> list[str]:
    """What the checkout holds there, less what is ignored."""
    told = run("git", "ls-files", "--cached", "--others", "--exclude-standard", "-z", ".", cwd=folder)
    return sorted(name for name in told.split("\0")[:-1] if (folder / name).is_file())


def test_fieldkit_is_run_from_the_wheel_not_from_the_checkout(python: Path) -> None:
    place = run(python, "-c", "import fieldkit; print(fieldkit.__file__)", cwd=python.parent)
    assert Path(place.strip()).is_relative_to(python.parents[1])


@pytest.mark.parametrize("folder", IN_THE_CHECKOUT)
def test_every_file_of_these_folders_is_in_the_wheel(python: Path, folder: str) -> None:
    assert listed(python, f"shipped.{folder.upper()}") == in_git(IN_THE_CHECKOUT[folder]) != []


def test_every_catalogue_and_template_is_in_the_wheel(python: Path) -> None:
    inside = [name for name in listed(python, "files('fieldkit')") if not name.startswith("_shipped/")]
    assert inside == in_git(ROOT / "fieldkit")


def test_the_command_helps_from_the_wheel(python: Path) -> None:
    command = python.with_name("fieldkit.exe" if os.name == "nt" else "fieldkit")
    assert "survival" in run(command, "--help", cwd=python.parent)


def test_the_source_archive_holds_what_a_packager_needs(built: Path) -> None:
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        tops = {name.split("/")[1] for name in archive.getnames()}
    assert {"LICENSE", "README.md", "pyproject.toml", "fieldkit", "static", "sample_surveys", "tests", "scripts"} <= tops


def test_every_package_that_fieldkit_imports_is_declared() -> None:
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["dependencies"]
    names = {re.split(r"[^a-z0-9-]", line)[0] for line in declared}
    belongs_to = packages_distributions()
    ours = imported() - sys.stdlib_module_names - {"fieldkit"}
    packages = {module: {name.lower().replace("_", "-") for name in belongs_to.get(module, [])} for module in ours}
    assert {module: found for module, found in packages.items() if not found & names} == {}


def imported() -> set[str]:
    found: set[str] = set()
    for path in (ROOT / "fieldkit").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                found |= {name.name.partition(".")[0] for name in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                found.add(node.module.partition(".")[0])
    return found
