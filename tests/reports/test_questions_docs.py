"""The page on a lead's questions: its example runs, and it explains every key of every answer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base
from fieldkit.reports.causes import causes
from fieldkit.reports.effort import effort
from fieldkit.reports.period import period
from fieldkit.reports.question import Question
from fieldkit.reports.ranking import ranking
from tests.reports.reef import Sites

PAGE = (Path(__file__).parents[2] / "docs" / "questions.md").read_text("utf-8")
NAMED_BY_DATA = ("group", "lost_to", "causes", "left_out", "where")  # under these stand labels, causes and reasons


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Base:
    sites = Sites()
    corals = [coral for plot in "1234" for genotype in ("G1", "G2") for coral in sites.plant(f"A{plot}{genotype}", genotype, 4)]
    sites.dive("A", "2025-06-01", {coral: "dead heat" if coral.endswith("G1/0") else "alive" for coral in corals})
    sites.adopt()
    return sites.base(tmp_path_factory.mktemp("docs"))


def keys(plain: Any) -> Iterator[str]:
    if isinstance(plain, list):
        for one in plain:
            yield from keys(one)
    elif isinstance(plain, dict):
        for name, value in plain.items():
            yield name
            if name not in NAMED_BY_DATA or isinstance(value, list):
                yield from keys(value)
            elif name == "causes":
                yield from keys(list(value.values()))


@pytest.mark.parametrize("asked", ["ranking", "causes", "effort", "period"])
def test_every_key_of_an_answer_is_explained(base: Base, asked: str) -> None:
    section = PAGE.split(f": `{asked}`\n")[1].split("\n## ")[0]
    question = Question(by=("genotype",))
    with base.view() as view:
        plain = {
            "ranking": lambda: ranking(view, question).to_json(),
            "causes": lambda: causes(view, question).to_json(),
            "effort": lambda: effort(view, question, age_days=365, difference=0.2).to_json(),
            "period": lambda: period(view, date(2024, 6, 1), date(2025, 6, 1), ("genotype",)).to_json(),
        }[asked]()
    assert sorted({key for key in keys(plain) if f"`{key}`" not in section}) == []


def test_the_example_runs(base: Base, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    base.folder.rename(base.folder.with_name("trial"))
    monkeypatch.chdir(base.folder.parent)
    for example in re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL):
        exec(compile(example, "docs/questions.md", "exec"), {})
    assert capsys.readouterr().out.splitlines()[:2] == ["1 G2 0 2.0", "2 G1 4 2.0"]
