"""How long the page of matters takes after an import that opened thousands.

    python scripts/bench/matters.py [MATTERS]

Two spreadsheets of the same visits tell otherwise of every coral: so many matters are open, in plots of a hundred corals.
Printed in milliseconds: the first page and the fiftieth, one answer with the page that follows it, and one answer to all alike;
and how many times as long as the reference, which is what SQLite alone needs to read the rows of all open matters.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fieldkit.base import Base  # noqa: E402
from fieldkit.server import create_app  # noqa: E402
from tests.server.asking import token_of  # noqa: E402
from tests.support.programme import Reef, base_of  # noqa: E402

PER_PLOT = 100
TIMES = 7


def main(matters: int) -> None:
    made = Reef({f"P{i:03d}": PER_PLOT for i in range(matters // PER_PLOT)})
    for called, status in (("KT", "alive"), ("RS", "dead")):
        for i in range(matters // PER_PLOT):
            sheet = made.dive(f"{called}{i}", "2024-06-01", **{"import": "f" * 64})
            for j in range(1, PER_PLOT + 1):
                made.see(sheet, f"{100 * (i + 1) + j}", status, plot=f"P{i:03d}")
    with TemporaryDirectory() as folder:
        _tell(base_of(Path(folder) / "base", made.entries(), [made.protocol]))


def _tell(base: Base) -> None:
    client = create_app(base).test_client()
    with base.view() as view:
        print(f"{len(view.matters())} matters are open")
        reference = _median(lambda: view.rows("SELECT * FROM matter WHERE ruling IS NULL"))
    print(f"{'the rows alone':42}{reference:9.1f} ms")
    for what, page in (("first page", "/matters"), ("fiftieth page", "/matters?page=50"), ("boat days", "/days")):
        _print(what, _median(lambda page=page: client.get(page)), reference)  # type: ignore[misc]
    token = token_of(client.get("/matters").text)
    for what, also in (("one answer", {}), ("one answer to all alike", {"alike": "yes"})):
        with base.view() as view:
            id_ = view.matters()[0].id
        given = {"token": token, "who": "EA", "says": "answer=set_aside", **also}
        took, then = _once(lambda id_=id_, given=given: client.post(f"/matters/{id_}/answer", data=given))  # type: ignore[misc]
        assert then.status_code == 303, then.text
        _print(what, took, reference)
        _print("  and the page that follows", _once(lambda then=then: client.get(then.headers["Location"]))[0], reference)  # type: ignore[misc]
    with base.view() as view:
        print(f"{len(view.matters())} matters are open")


def _print(what: str, took: float, reference: float) -> None:
    print(f"{what:42}{took:9.1f} ms  {took / reference:7.1f} times the rows alone")


def _once(ask: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    found = ask()
    return 1000 * (time.perf_counter() - start), found


def _median(ask: Callable[[], object]) -> float:
    return median(_once(ask)[0] for _ in range(TIMES))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000)
