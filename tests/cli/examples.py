"""The examples of docs/commands.md: typed again, one after the other, they must give what the page says.

`python -m tests.cli.examples`, at the top of the checkout, writes into the page what they give now. Look at what changed.
"""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import sys
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory

from click.testing import CliRunner

from fieldkit.cli.program import fieldkit

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "commands.md"
_BLOCK = re.compile(r"(?<=```console\n)(.*?)(?=```)", re.DOTALL)


def run_again(page: str, folder: Path) -> str:
    """The page with what its examples give, typed in a folder in which the sample lies beside them."""
    copytree(ROOT / "sample_surveys", folder / "sample_surveys")
    with contextlib.chdir(folder):
        return _BLOCK.sub(lambda block: "".join(_typed(line) for line in _lines(block[1])), page)


def _lines(block: str) -> list[str]:
    """The lines that are typed; one that ends in a backslash goes on in the next."""
    return re.findall(r"^\$ fieldkit(?:.*\\\n)*.*", block, re.MULTILINE)


def _typed(line: str) -> str:
    """What stands in the terminal after a line was typed: `| head -N` shows the first lines, as everywhere."""
    command, _, head = line.removeprefix("$ ").partition(" | head -")
    words = shlex.split(command.replace("\\\n", " "))
    told = CliRunner().invoke(fieldkit, words[1:], prog_name="fieldkit", catch_exceptions=False)
    lines = told.output.splitlines()
    if told.exit_code and not head:
        lines += ["$ echo $?", str(told.exit_code)]
    return "\n".join([line, *(lines[: int(head)] if head else lines)]) + "\n"


if __name__ == "__main__":
    assert os.environ.get("FIELDKIT_LANG") == "en", "the page is in English: FIELDKIT_LANG=en python -m tests.cli.examples"
    with TemporaryDirectory() as made:
        PAGE.write_text(run_again(PAGE.read_text("utf-8"), Path(made)), "utf-8")
    sys.stdout.write(f"{PAGE}\n")
