"""How fast are the survival figures, beside other libraries and beside the least that such work can cost?

    python scripts/bench/survival.py [--runs 5] [--corals 10000 100000 1000000] [--only km logrank npmle limits] [--others DIR]

Beside: lifelines and statsmodels, which the tests need too, and scikit-survival and surpyval, which the project has no other
use for: they are installed into the folder `--others`, once, and looked for behind everything that is installed here. The
floor: np.sort of the packed (group, day) key, and one pass of np.bincount. All run in this one process in turn, so that a busy
machine slows all alike; printed are the medians of wall time and of processor time, and how many times as much of the processor
as ours each takes. What costs minutes (lifelines' NPMLE) runs once, on one group, and is multiplied. All get the same columns;
those that know no groups get them split by a sort first, and what that alone takes is printed too. Data: whole days, 20 sites
x 50 genotypes, dice of a fixed seed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from tempfile import gettempdir
from types import ModuleType
from typing import Any

import numpy as np

from fieldkit.survival import bootstrap_survival, kaplan_meier, logrank, turnbull

Task = tuple[str, Callable[[], Any], int]  # name, what to time, how many times that is the whole work

OTHERS = ("scikit-survival", "surpyval")
SITES, GENOTYPES = 20, 50


def install(folder: Path) -> None:
    """The libraries that only this script needs, into a folder of their own."""
    if not folder.exists():
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--only-binary=:all:", "--target", str(folder)]
        subprocess.run([*pip, *OTHERS], check=True)
    sys.path.append(str(folder))  # at the end: what both have is taken from the project's own


def installed(name: str) -> ModuleType | None:
    try:
        return import_module(name)
    except ImportError as error:
        print(f"  {name} is left out: {error}")
        return None


def lasted(task: Callable[[], Any]) -> tuple[float, float]:
    """Seconds of wall and of processor time."""
    wall, processor = time.perf_counter(), time.process_time()
    task()
    return time.perf_counter() - wall, time.process_time() - processor


def report(title: str, tasks: Sequence[Task], runs: int) -> None:
    """Times of the tasks in turn; the first is ours."""
    once = {name for name, _, times in tasks if times > 1}
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name, _, _ in tasks}
    for run in range(runs):
        for name, task, times in tasks:
            if run == 0 or name not in once:
                taken[name].append(tuple(times * seconds for seconds in lasted(task)))
    medians = {name: np.median(seconds, axis=0) for name, seconds in taken.items()}
    ours = medians[tasks[0][0]][1]
    print(f"\n{title}")
    for name, (wall, processor) in medians.items():
        print(f"  {name:44s} {1000 * wall:12.1f} ms {1000 * processor:12.1f} ms cpu   x {processor / ours:.3g}", flush=True)


def dated_corals(corals: int) -> dict[str, Any]:
    by_chance = np.random.default_rng(1)
    group = by_chance.integers(0, SITES * GENOTYPES, corals)
    dies = by_chance.exponential(200 + group % 50 * 10)
    leaves = by_chance.uniform(30, 365, corals)
    return {"time": np.ceil(np.minimum(dies, leaves)), "event": dies <= leaves, "group": group}


def visited_corals(corals: int, groups: int, plots: int = 40) -> dict[str, Any]:
    """Corals in plots that are visited some days off 30, 90, 180, 365 and 730 days."""
    by_chance = np.random.default_rng(2)
    group, plot = by_chance.integers(0, groups, corals), by_chance.integers(0, plots, corals)
    rounds = np.array([30, 90, 180, 365, 730])
    offsets = np.round(by_chance.normal(0, 10, (groups, plots, rounds.size)))
    visits = np.sort(np.maximum(rounds + offsets, 1), axis=2)[group, plot]
    visits = np.column_stack((np.zeros(corals), visits, np.full(corals, np.inf)))
    dies = by_chance.exponential(800 * by_chance.gamma(2, 0.5, (groups, plots))[group, plot])
    seen, row = (dies[:, None] > visits).sum(axis=1) - 1, np.arange(corals)
    return {"left": visits[row, seen], "right": visits[row, seen + 1], "group": group, "plot": plot}


def split(data: dict[str, Any], group: Any) -> list[dict[str, Any]]:
    order = np.argsort(group, kind="stable")
    bounds = np.searchsorted(group[order], np.unique(group))[1:]
    parts = {name: np.split(column[order], bounds) for name, column in data.items()}
    return [dict(zip(parts, columns, strict=True)) for columns in zip(*parts.values(), strict=True)]


def kaplan_meier_tasks(data: dict[str, Any], group: Any) -> list[Task]:

    def parts() -> list[dict[str, Any]]:
        return split({"time": data["time"], "event": data["event"]}, group)

    key = (group * 366 + data["time"].astype(np.int64)).astype(np.int32)

    def ours() -> None:
        kaplan_meier(data["time"], data["event"], group=group)

    def each() -> None:
        for curve in kaplan_meier(data["time"], data["event"], group=group).values():
            _ = curve.std_error

    tasks: list[Task] = [("fieldkit", ours, 1), ("fieldkit, every curve cut out, with its error", each, 1)]
    tasks += [
        ("splitting by group alone", parts, 1),
        ("floor: np.sort of the key", lambda: np.sort(key), 1),
        ("floor: np.bincount of the key", lambda: np.bincount(key), 1),
    ]
    if statsmodels := installed("statsmodels.api"):
        tasks.append(("statsmodels", lambda: [statsmodels.SurvfuncRight(one["time"], one["event"]) for one in parts()], 1))
    if sksurv := installed("sksurv.nonparametric"):
        tasks.append(
            ("scikit-survival", lambda: [sksurv.kaplan_meier_estimator(one["event"], one["time"]) for one in parts()], 1)
        )
    if lifelines := installed("lifelines"):
        tasks.append(
            ("lifelines", lambda: [lifelines.KaplanMeierFitter().fit(one["time"], one["event"]) for one in parts()], 1)
        )
    return tasks


def logrank_tasks(data: dict[str, Any], group: Any) -> list[Task]:
    tasks: list[Task] = [("fieldkit", lambda: logrank(data["time"], data["event"], group), 1)]
    if survfunc := installed("statsmodels.duration.survfunc"):
        event = data["event"].astype(int)
        tasks.append(("statsmodels", lambda: survfunc.survdiff(data["time"], event, group), 1))
    if lifelines := installed("lifelines.statistics"):
        tasks.append(("lifelines", lambda: lifelines.multivariate_logrank_test(data["time"], group, data["event"]), 1))
    if compare := installed("sksurv.compare"):
        pairs = np.array(list(zip(data["event"], data["time"], strict=True)), dtype=[("event", bool), ("time", float)])
        tasks.append(("scikit-survival", lambda: compare.compare_survival(pairs, group), 1))
    return tasks


def npmle_tasks(data: dict[str, Any]) -> list[Task]:
    left, right, group = data["left"], data["right"], data["group"]
    gap = max(curve.gap for curve in turnbull(left, right, group=group).values())
    tasks: list[Task] = [(f"fieldkit, proven gap {gap:.1e}", lambda: turnbull(left, right, group=group), 1)]

    def parts() -> list[dict[str, Any]]:
        return split({"left": left, "right": right}, group)

    groups = np.unique(group).size
    if surpyval := installed("surpyval"):
        tasks.append(("surpyval", lambda: [surpyval.Turnbull.fit(xl=one["left"], xr=one["right"]) for one in parts()], 1))
    if groups <= GENOTYPES and (lifelines := installed("lifelines")):
        first = parts()[0]
        fit = lifelines.KaplanMeierFitter().fit_interval_censoring
        tasks.append((f"lifelines, one group x {groups}", lambda: fit(first["left"], first["right"]), groups))
    return tasks


def limits_tasks(data: dict[str, Any]) -> list[Task]:
    left, right, plot, group = data["left"], data["right"], data["plot"], data["group"]
    found = np.isfinite(right)
    day, end = np.where(found, right, left), np.where(found, right, np.inf)
    ages = [90, 365, 730]
    return [
        ("deaths dated when found", lambda: bootstrap_survival(day, end, plot, ages, seed=1, group=group), 1),
        ("between visits", lambda: bootstrap_survival(left, right, plot, ages, seed=1, group=group), 1),
    ]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--corals", type=int, nargs="+", default=(10_000, 100_000, 1_000_000))
    options.add_argument("--only", nargs="+", choices=("km", "logrank", "npmle", "limits"))
    options.add_argument("--others", type=Path, default=Path(gettempdir()) / "fieldkit-bench" / "others")
    given = options.parse_args()
    wanted = given.only or ("km", "logrank", "npmle", "limits")
    install(given.others)
    warnings.simplefilter("ignore")  # the others', about their own future
    for corals in given.corals:
        dated = dated_corals(corals)
        for groups in (SITES * GENOTYPES, GENOTYPES) if "km" in wanted else ():
            title = f"Kaplan-Meier, {corals:,} corals, {groups} groups"
            report(title, kaplan_meier_tasks(dated, dated["group"] % groups), given.runs)
        if "logrank" in wanted:
            title = f"Log-rank, {corals:,} corals, {GENOTYPES} groups"
            report(title, logrank_tasks(dated, dated["group"] % GENOTYPES), given.runs)
        if "npmle" in wanted:
            groups = SITES * GENOTYPES
            report(f"NPMLE, {corals:,} corals, {groups} groups", npmle_tasks(visited_corals(corals, groups)), given.runs)
    for plots, visits in ((40, "40 plots each"), (2000, "nearly every coral visited on days of its own")):
        if "npmle" in wanted:
            title = f"NPMLE, 100,000 corals, {GENOTYPES} groups, {visits}"
            report(title, npmle_tasks(visited_corals(100_000, GENOTYPES, plots)), given.runs)
    if "limits" in wanted:
        title = f"Limits over 40 plots, 100,000 corals, {GENOTYPES} groups, 1000 replicates"
        report(title, limits_tasks(visited_corals(100_000, GENOTYPES)), given.runs)


if __name__ == "__main__":
    main()
