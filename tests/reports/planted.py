"""The planted flaws of the sample, and a lead who knows the truth and settles them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fieldkit.base import Answer, Base, MatterRow, monitoring_protocol, statement
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer

SAMPLE = Path(__file__).parents[2] / "sample_surveys"
TRUTH: dict[str, Any] = json.loads((SAMPLE / "truth.json").read_text("utf-8"))
SITES = {"Lantern Bommie": "LAN", "Old Moorings": "OLD", "Pandanus Slope": "PAN", "Ray Steps": "RAY"}

# What bears on more goes first: a session that moves to another day takes the matters of its rows along.
ORDER = ("same_slate", "date", "site", "tag", "history", "double", "size", "photo_time")


def flaws() -> Iterator[dict[str, Any]]:
    """The planted flaws that a ruling settles, in the order in which a lead would."""
    answered = [flaw for flaw in TRUTH["flaws"] if flaw["matter"] in ORDER and flaw["answer"]]
    return iter(sorted(answered, key=lambda flaw: ORDER.index(flaw["matter"])))


def matter_of(base: Base, flaw: dict[str, Any]) -> MatterRow:
    """The one open matter that a flaw made."""
    about = {*flaw["of"], *flaw["past"], *flaw["sessions"]}
    with base.view() as view:
        (matter,) = [one for one in view.matters() if one.kind == flaw["matter"] and about & set(one.of)]
    return matter


def settle(base: Base, flaw: dict[str, Any]) -> None:
    """Rule on a flaw as the truth says."""
    given = {"values" if name == "fields" else name: value for name, value in flaw["answer"].items()}
    matter = matter_of(base, flaw)
    with base.view() as view:
        said = statement(base, view, matter, Answer(**given))
    base.say([said], recorder="LEAD")


def figures(base: Base, **question: Any) -> dict[str, Any]:
    with base.view() as view:
        return answer(view, Question(**{"limits": "none", **question}), monitoring_protocol(base, view))
