"""How long the due list and a day's plan take for 200 plots, beside what reading the same rows alone takes.

    python scripts/bench/due.py [PLOTS]        # some forty seconds, most of it to make the base

Makes a base in a temporary folder by its own door: plots of ten tagged corals, seven rounds of the shipped protocol, one row in
eight with something that asks for a hand, photos on every other row of the last round, a storm. Prints milliseconds, the median
of several, and how many times as long as the reference, which is SQLite's rows of all that was settled of these corals, fetched
and parsed (`json.loads`) by a program that decides nothing.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fieldkit.base import Base  # noqa: E402
from fieldkit.due import day_plan, due  # noqa: E402
from fieldkit.server import create_app  # noqa: E402
from tests.support.programme import Book, Reef, base_of, name  # noqa: E402

CORALS, PLOTS_A_SESSION, TIMES = 10, 10, 9
PLANTED = date(2024, 3, 1)
AGES = (30, 91, 182, 365, 547, 730, 800)
DAY = PLANTED + timedelta(1060)  # month 36 is open
FAULTS = ({"attachment": "loose"}, {"predation": ["snails"]}, {"competition": ["turf"]}, {"disease": ["tissue_loss"]})


def main(plots: int) -> None:
    made = reef(plots)
    with TemporaryDirectory() as folder:
        base = base_of(Path(folder) / "base", made.entries(), [made.protocol])
        base.adopt(made.protocol)
        with base.view() as view:
            rows = view.rows("SELECT count(*) AS n FROM seen")[0]["n"]
        print(f"{plots} plots, {plots * CORALS} corals, {rows} settled states; milliseconds, the median of {TIMES}")
        tell(base, made)


def tell(base: Base, made: Reef) -> None:
    def both() -> None:
        with base.view() as view:
            found = due(view, made.protocol, DAY)
        day_plan([job for plot in found.plots if (job := plot.job)], dives=4, minutes=60)

    def only_list() -> None:
        with base.view() as view:
            due(view, made.protocol, DAY)

    def reference() -> None:
        with base.view() as view:
            for row in view.rows("SELECT coral, day, state, said FROM seen ORDER BY coral, day"):
                json.loads(row["said"])

    client = create_app(base).test_client()
    took = {"reference": ms(reference), "list": ms(only_list), "list and plan": ms(both)}
    took["page"] = ms(lambda: client.get(f"/due?day={DAY}"))
    took["page of the plan"] = ms(lambda: client.get(f"/due/plan?day={DAY}&dives=4&minutes=60"))
    for called, milliseconds in took.items():
        print(f"  {called:18} {milliseconds:7.1f} ms   {milliseconds / took['reference']:5.2f} times the reference")


def ms(work: Callable[[], object]) -> float:
    work()
    times = []
    for _ in range(TIMES):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return 1000 * median(times)


def reef(plots: int) -> Reef:
    made = Reef({f"P{number:03}": CORALS for number in range(1, plots + 1)})
    made.lead("desk").say(
        "event",
        {"event": name("storm"), "what": "storm", "from": str(DAY - timedelta(9)), "until": str(DAY), "sites": [made.site]},
    )
    for age in AGES:
        for first in range(0, plots, PLOTS_A_SESSION):
            book = made.dive(f"KT{first}", str(PLANTED + timedelta(age)))
            for plot in range(first + 1, min(first + PLOTS_A_SESSION, plots) + 1):
                read(made, book, plot, age)
    return made


def read(made: Reef, book: Book, plot: int, age: int) -> None:
    """A plot's rows, well but for one in eight; in the last round every other row with a photo."""
    for place in range(1, CORALS + 1):
        at = len(book.entries)
        fault = FAULTS[(at + plot) % len(FAULTS)] if (at * 7 + age) % 8 == 0 else {}
        said = {**made.protocol.all_well, **fault}
        state = str(said.pop("status"))
        row = made.see(book, f"{100 * plot + place}", state, plot=f"P{plot:03}", size_cm="12.5", **said).values["row"]
        if age == AGES[-1] and place % 2:
            taken = f"2026-05-10T{8 + at // 60 % 10:02}:{at % 60:02}:00"
            book.say("photo", {"row": row, "photo": f"{at:064x}", "bytes": 1, "type": "image/jpeg", "camera_time": taken})


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
