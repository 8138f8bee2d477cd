"""docs/carry-file.md is enough to read a carry file without us."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from fieldkit.ledger.carry import form

DOC = (Path(__file__).parents[3] / "docs" / "carry-file.md").read_text("utf-8")
EXAMPLE = re.findall(r"```python\n(.*?)```", DOC, re.DOTALL)[0]


def test_the_example_reads_a_carry_file_with_the_standard_library_alone(day: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(day.file.parent)
    found: dict[str, Any] = {}
    exec(compile(EXAMPLE, "carry-file.md", "exec"), found)
    assert found["programme"] == day.about.programme_name
    assert found["entries"] == [json.loads(entry.body) for entry in day.entries]


def test_the_example_notices_a_damaged_photo(day: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    photo = day.content[-1][2]
    day.file.write_bytes(day.raw.replace(photo, photo[:-1] + bytes([photo[-1] ^ 1])))
    monkeypatch.chdir(day.file.parent)
    with pytest.raises(Exception, match="CRC"):
        exec(compile(EXAMPLE, "carry-file.md", "exec"), {})


def test_the_limits_are_those_of_the_document() -> None:
    said = (form.MAX_ABOUT, form.MOST_BYTES, form.MAX_CONTENT, form.MAX_ENTRIES_BYTES)
    assert said == (4 * 2**10, {"protocols": 256 * 2**10, "photos": 64 * 2**20}, 50_000, 2**30)
    assert all(words in DOC for words in ("at most 4 KiB", "256 KiB", "64 MiB", "50,000", "1 GiB"))


def test_a_file_written_by_the_document_alone_is_whole(day: Any) -> None:
    """end.json is compared byte for byte, so its form in the document must be the form that is read."""
    shown = re.findall(r'    (\{"members":\[\n.*?\]\})\n', DOC, re.DOTALL)[0].replace("\n    ", "\n") + "\n"
    members = [json.loads(line.rstrip(",")) for line in shown.splitlines()[1:-1]]
    listed = form.listing({name: (digest, size) for name, digest, size in members})
    assert listed.decode() == shown
