"""Doubles: two recorders read the same coral; most agree, some differ in the state, some in what they measured."""

from __future__ import annotations

from collections.abc import Callable

from sample.conditions import ALIVE, DEAD, MISSING, Condition
from sample.slates import Row
from sample.spoiler import Spoiler
from sample.wording import BLEACHING, LIVE_TISSUE, SIZE, coral_fields, far_larger, far_less


def doubles_of_state(spoiler: Spoiler) -> None:
    """Two recorders, one coral, two states; the first or the second of them wrong."""
    for truth, wrong, second_errs in ((ALIVE, MISSING, True), (ALIVE, DEAD, True), (DEAD, ALIVE, False), (DEAD, MISSING, True)):
        first, again = spoiler.take_double(truth)
        spoiler.photograph(first)
        erring = again if second_errs else first
        kept = {name: erring.values[name] for name in ("coral", "plot", "tag", "line") if name in erring.values}
        erring.values = kept | coral_fields(_mistake(wrong, erring))
        answer = {"answer": "use", "fields": {"status": truth}}
        spoiler.plant("double_state", "double", f"{truth}; one recorder wrote {wrong}", rows=(first, again), answer=answer)


def doubles_of_measures(spoiler: Spoiler) -> None:
    changes: tuple[tuple[str, Callable[[str], str]], ...] = (
        *((SIZE, far_larger),) * 3,
        *((LIVE_TISSUE, far_less),) * 3,
        *((BLEACHING, _other_class),) * 2,
    )
    for name, change in changes:
        first, again = spoiler.take_double(ALIVE)
        true = first.values[name]
        again.values[name] = change(true)
        answer = {"answer": "use", "fields": {name: true}}
        spoiler.plant("double_measure", "double", f"{name}: the second recorder is off", rows=(first, again), answer=answer)


def doubles_that_agree(spoiler: Spoiler) -> None:
    for pair in spoiler.doubles():
        if pair[0].coral not in spoiler.used:
            spoiler.plant("double_agrees", None, "two recorders, within the tolerance", rows=pair)


def _mistake(wrong: str, row: Row) -> Condition:
    if wrong == DEAD:
        return Condition(DEAD, cause="unknown")
    if wrong == MISSING:
        return Condition(MISSING)
    return Condition(ALIVE, live_tissue=10, bleaching="none", size_cm=row.single.size_cm)


def _other_class(bleaching: str) -> str:
    return "partly" if bleaching in ("none", "pale") else "none"
