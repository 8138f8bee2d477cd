"""The life of one coral in the reader's words: what became of observations, what was ruled, when it died. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from fieldkit.reports.corals import CoralLife, Ruled
from fieldkit.server.names import Names

_FATES = {
    "counted": "corals.fate_counted",
    "agrees with a counted one": "corals.fate_agrees",
    "in a matter": "corals.fate_in_a_matter",
    "overruled": "corals.fate_overruled",
    "set aside": "corals.fate_set_aside",
    "superseded": "corals.fate_superseded",
    "retracted": "corals.fate_retracted",
    "redacted": "corals.fate_redacted",
    "not understood": "corals.fate_not_understood",
    "practice": "corals.fate_practice",
    "not searched": "corals.fate_not_searched",
}
_DONE = {
    "reattached": "corals.done_reattached",
    "predators removed": "corals.done_predators_removed",
    "cleaned": "corals.done_cleaned",
    "new tag": "corals.done_new_tag",
    "other": "corals.done_other",
}


@dataclass(frozen=True)
class LifeWords:
    """The words for one coral."""

    life: CoralLife
    names: Names
    corals: Mapping[str, str]
    """What the corals are called that rulings name, by id."""

    def fate(self, fate: str) -> str:
        """What became of an observation."""
        return self.names.reader.text(_FATES[fate])

    def done(self, done: str) -> str:
        """What was done; what the contract does not know stands as it was handed in."""
        return self.names.reader.text(_DONE[done]) if done in _DONE else done

    def fields(self, values: Mapping[str, Any]) -> list[tuple[str, str]]:
        """What was observed: pairs of field and value, in the order of the protocol."""
        return [(self.names.field(name), self.names.value(name, values[name])) for name in sorted(values, key=self.names.place)]

    def size(self, size: float) -> str:
        """A size with its unit."""
        return self.names.value(self.life.size_field or "", f"{size:g}")

    @property
    def unit(self) -> str:
        """What sizes are in, as the protocol has it."""
        field = self.life.protocol.with_role("size") if self.life.protocol else None
        return (field.unit if field else None) or ""

    def when(self, ages: tuple[int, int | None]) -> str:
        """Between which days it died, given the ages after which and by which."""
        t, reader = self.names.reader.text, self.names.reader
        planted = date.fromisoformat(self.life.listed.planted_on or "")
        left, right = ages
        told = {"left": reader.day(planted + timedelta(days=left)), "left_age": reader.age(left)}
        if right is None:
            return t("corals.not_found_dead", **told)
        if right == left:
            return t("corals.died_on", **told)
        return t("corals.died_between", **told, right=reader.day(planted + timedelta(days=right)), right_age=reader.age(right))

    def ruled(self, ruling: Ruled) -> str:
        """What was answered, by whom, when and why."""
        t = self.names.reader.text
        told = {
            "answer": self._answer(ruling.answer, ruling.keys),
            "who": ruling.who or t("pages.somebody"),
            "day": self.names.reader.day(ruling.day),
        }
        return t("corals.ruled_because", **told, why=ruling.why) if ruling.why else t("corals.ruled_by", **told)

    def _answer(self, answer: str, keys: Mapping[str, Any]) -> str:
        names = self.names
        if answer == "use":
            return names.reader.list(
                [f"{names.field(name)}: {names.value(name, value)}" for name, value in keys["fields"].items()]
            )
        told = {
            "place": self.corals.get(str(keys.get("coral"))),
            "day": names.reader.day(keys.get("day")),
            "site": names.value("site", keys.get("site")),
            "clock": names.offset(str(keys.get("offset_s"))),
        }.get(answer)
        return f"{names.answer(answer)}: {told}" if told else names.answer(answer)
