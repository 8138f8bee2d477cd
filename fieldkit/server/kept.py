"""Answers that take their time: each is computed once, however many ask for it, and kept until the data changes.

What is asked of a small programme is answered at once. Of a large one it is computed while the page already stands, and the
page says so: a person who waits before an empty window does not know whether anything happens.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from dataclasses import dataclass, field
from threading import Lock, Thread
from typing import Any, TypeVar

from flask import current_app

from fieldkit.base import Base, View
from fieldkit.server.current import current_base

T = TypeVar("T")

MOST = 100
"""Answers held: a hundred curves of a thousand groups are some tens of megabytes. Chosen by us."""
MOST_WAITING = 8  # begun and not done; what is asked beyond that is begun when the page is loaded again
AT_ONCE = 20_000
"""Corals up to which an answer is waited for. Chosen by us: it takes well under a second then."""


@dataclass(frozen=True)
class Waiting:
    """An answer is being computed."""

    seconds: int
    """Since when."""


@dataclass(eq=False)
class _Answer:
    told: Future[Any] = field(default_factory=Future)
    begun: float = field(default_factory=time.monotonic)


class Kept:
    """The answers of one base. They are of one moment of it; the first question of a later moment drops them all."""

    def __init__(self, base: Base, *, most: int = MOST, at_once: int = AT_ONCE) -> None:
        self._base = base
        self._most = most
        self._at_once = at_once
        self._moment: Hashable = None
        self._answers: OrderedDict[Hashable, _Answer] = OrderedDict()
        self._lock = Lock()
        self._at_work = Lock()  # one at a time in the background: what is answered at once must not wait for many

    def now(self, view: View, question: Hashable, compute: Callable[[View], T]) -> T:
        """The answer, waited for."""
        answer, is_new = self._answer(view, question)
        if is_new:
            _fill(answer, compute, view)
        found: T = self._told(question, answer)
        return found

    def soon(self, view: View, question: Hashable, compute: Callable[[View], T]) -> T | Waiting:
        """The answer if it is there; else it is being computed from now on, in a thread that knows of no request."""
        with self._lock:
            waiting = sum(not answer.told.done() for answer in self._answers.values())
        if waiting >= MOST_WAITING:
            return Waiting(0)
        answer, is_new = self._answer(view, question)
        if is_new:
            Thread(target=self._in_background, args=(answer, compute), daemon=True).start()
        if answer.told.done():
            found: T = self._told(question, answer)
            return found
        return Waiting(round(time.monotonic() - answer.begun))

    def at_once_or_soon(self, view: View, question: Hashable, compute: Callable[[View], T]) -> T | Waiting:
        """The answer; of a large programme, if it is there."""
        corals = self.now(view, "corals", lambda some: int(some.rows("SELECT count(*) AS n FROM coral")[0]["n"]))
        return self.now(view, question, compute) if corals <= self._at_once else self.soon(view, question, compute)

    def _in_background(self, answer: _Answer, compute: Callable[[View], Any]) -> None:
        with self._at_work, self._base.view() as view:  # it may be of a later moment than was asked at, never of an earlier
            _fill(answer, compute, view)

    def _answer(self, view: View, question: Hashable) -> tuple[_Answer, bool]:
        """The answer to a question at the moment of a view, and whether nobody asked before."""
        # Protocol files are no entries, and yet what was noted under one is understood once it is here.
        moment = (view.ledger.newest_place, view.protocols_heard_of())
        with self._lock:
            if moment != self._moment:
                self._moment = moment
                self._answers.clear()
            if question in self._answers:
                self._answers.move_to_end(question)
                return self._answers[question], False
            self._answers[question] = answer = _Answer()
            while len(self._answers) > self._most:
                self._answers.popitem(last=False)
            return answer, True

    def _told(self, question: Hashable, answer: _Answer) -> Any:
        try:
            return answer.told.result()
        except Exception:
            with self._lock:  # asked again, it is tried again
                if self._answers.get(question) is answer:
                    del self._answers[question]
            raise


def _fill(answer: _Answer, compute: Callable[[View], Any], view: View) -> None:
    try:
        answer.told.set_result(compute(view))
    except Exception as error:  # noqa: BLE001 - whoever waits for the answer is told
        answer.told.set_exception(error)


def kept() -> Kept:
    """The answers of the base that is served."""
    found: Kept = current_app.extensions.setdefault("fieldkit.kept", Kept(current_base()))
    return found
