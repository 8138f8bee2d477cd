"""The room's sentences: none that nothing says, and none that no test has heard."""

from __future__ import annotations

import re
from pathlib import Path

import fieldkit.protocol
from fieldkit.messages import catalogue

ROOM = Path(fieldkit.protocol.__file__).parent
HERE = Path(__file__).parent
CASES = HERE.parent / "cases" / "protocol"
SENTENCES = {key.removeprefix("protocol.") for key in catalogue("en") if key.startswith("protocol.")}


def quoted(folder: Path) -> set[str]:
    texts = [file.read_text("utf-8") for file in (*folder.glob("*.py"), *folder.glob("*.json"))]
    return {name for text in texts for name in re.findall(r'"(?:protocol\.)?([a-z0-9_]+)"', text)}


def test_every_sentence_is_said_somewhere() -> None:
    assert SENTENCES - quoted(ROOM) == set()


def test_every_sentence_is_heard_by_a_test() -> None:
    assert SENTENCES - quoted(HERE) - quoted(CASES) - {"placed"} == set()
