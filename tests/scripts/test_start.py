"""What scripts/start.py and scripts/test.py say when something is missing; run as a person does, in a copy of the checkout."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOORS = ("scripts/start.py", "scripts/test.py")
NOBODY_LISTENS = {  # an index at a port where nothing answers, and nothing of this machine's own settings
    "PIP_CONFIG_FILE": os.devnull,
    "PIP_INDEX_URL": "http://127.0.0.1:9/simple",
    "PIP_EXTRA_INDEX_URL": "",
    "PIP_FIND_LINKS": "",
    "PIP_RETRIES": "1",
    "PIP_NO_CACHE_DIR": "1",
}


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    return copied(tmp_path / "a checkout")


@pytest.fixture(scope="module")
def without_network(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[subprocess.CompletedProcess[str]]]:
    """A checkout where start.py was run twice without a network, and what it said."""
    checkout = copied(tmp_path_factory.mktemp("no network") / "checkout")
    return checkout, [run(checkout / "scripts/start.py", **NOBODY_LISTENS) for _ in range(2)]


def copied(checkout: Path) -> Path:
    """What the scripts read of a checkout, without an environment."""
    shutil.copytree(ROOT / "scripts", checkout / "scripts", ignore=lambda _, names: {n for n in names if "." not in n})
    for language in ("en", "es"):
        texts = checkout / "fieldkit" / "messages" / language
        texts.mkdir(parents=True)
        shutil.copy(ROOT / "fieldkit" / "messages" / language / "start.toml", texts)
    shutil.copy(ROOT / "pyproject.toml", checkout)
    return checkout


def run(script: Path, *, first: str = "", **variables: str) -> subprocess.CompletedProcess[str]:
    """Run a script far from the checkout, after `first`, in a bare surrounding with these variables."""
    code = f"import runpy, sys\n{first}\nsys.path.insert(0, {str(script.parent)!r})\n"
    code += f"runpy.run_path({str(script)!r}, run_name='__main__')"
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "TEMP") if name in os.environ}
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=script.anchor,
        env=kept | variables,
        capture_output=True,
        encoding="latin-1" if "latin" in variables.get("PYTHONIOENCODING", "") else "utf-8",
        check=False,
    )


@pytest.mark.parametrize("door", DOORS)
def test_an_old_python_is_told_which_one_is_needed(door: str) -> None:
    done = run(ROOT / door, first="sys.version_info = (3, 8, 20, 'final', 0); sys.version = '3.8.20 (default)'")
    assert done.returncode == 1
    assert "3.11" in done.stderr and "3.8.20" in done.stderr and sys.executable in done.stderr


@pytest.mark.parametrize("door", DOORS)
def test_an_old_python_can_read_as_far_as_that_sentence(door: str) -> None:
    source = (ROOT / door).read_bytes().decode("ascii")  # Python 2 takes nothing else without being told
    newer = (ast.JoinedStr, ast.AnnAssign, ast.FunctionDef, ast.NamedExpr, ast.Starred)
    assert not [node for node in ast.walk(ast.parse(source, feature_version=(3, 4))) if isinstance(node, newer)]


@pytest.mark.parametrize("module", ["venv", "ensurepip"])
def test_a_python_without_venv_is_told_which_package_brings_it(checkout: Path, module: str) -> None:
    done = run(checkout / "scripts/start.py", first=f"sys.modules[{module!r}] = None")
    assert done.returncode == 1
    assert f"apt install python3.{sys.version_info[1]}-venv" in done.stderr and module in done.stderr
    assert not (checkout / ".venv").exists()


def test_the_sentences_are_spanish_where_the_terminal_is(checkout: Path) -> None:
    done = run(checkout / "scripts/start.py", first="sys.modules['ensurepip'] = None", LC_ALL="es_MX.UTF-8")
    assert "Después empiece de nuevo" in done.stderr


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_that_cannot_show_a_letter_gets_a_question_mark(checkout: Path, encoding: str) -> None:
    (checkout / ".venv").write_text("no folder")
    done = run(checkout / "scripts/start.py", LANG="es_ES", PYTHONIOENCODING=encoding)
    assert "Preparando un entorno propio" in done.stdout and "?" in done.stdout
    assert "UnicodeEncodeError" not in done.stderr


def test_a_folder_that_cannot_be_written_is_named(checkout: Path) -> None:
    (checkout / ".venv").write_text("a file where the folder would be")  # so that even root may not
    done = run(checkout / "scripts/start.py")
    assert done.returncode == 1
    assert done.stderr.startswith(f"Cannot write {checkout / '.venv'}")


def test_without_network_it_says_so(without_network: tuple[Path, list[subprocess.CompletedProcess[str]]]) -> None:
    checkout, (first, _) = without_network
    assert first.returncode == 1
    assert "no connection to the package index" in first.stderr
    assert str(checkout / ".venv" / "install.log") in first.stderr


def test_an_unfinished_environment_is_not_taken_for_a_good_one(
    without_network: tuple[Path, list[subprocess.CompletedProcess[str]]],
) -> None:
    _, (_, second) = without_network
    assert second.returncode == 1
    assert "Installing what" in second.stdout and "Making an environment" not in second.stdout
