"""What holds for every test: the world is put back after it, and on a machine that checks changes nothing is skipped."""

from __future__ import annotations

import os
import random
import threading
from collections.abc import Generator, Iterator
from pathlib import Path
from shutil import copytree
from typing import Any

import numpy as np
import pytest
from filelock import FileLock
from hypothesis import settings

from fieldkit.base import Base
from fieldkit.shipped import SAMPLE_SURVEYS

ON_CI = os.environ.get("CI") == "true"

# A shared machine pauses at any moment: no deadline. On CI the same cases every time, so that a failure there is the change's.
settings.register_profile("here", deadline=None, print_blob=True)
settings.register_profile("ci", deadline=None, print_blob=True, derandomize=True)
settings.load_profile("ci" if ON_CI else "here")


@pytest.fixture(autouse=True)
def _the_world_is_put_back() -> Iterator[None]:
    """Environment, working directory, dice and threads as they were; what a test leaves behind fails that test."""
    variables, folder = dict(os.environ), Path.cwd()
    dice, numpy_dice = random.getstate(), np.random.get_state()
    threads = set(threading.enumerate())
    yield
    left = [thread.name for thread in threading.enumerate() if thread not in threads and not thread.daemon]
    changed = sorted(name for name, _ in set(variables.items()) ^ set(os.environ.items()) if name != "PYTEST_CURRENT_TEST")
    moved = Path.cwd() != folder
    os.environ.clear()
    os.environ.update(variables)
    os.chdir(folder)
    random.setstate(dice)
    np.random.set_state(numpy_dice)
    assert not left, f"threads still running: {left}"
    assert not changed, f"environment variables left changed: {changed} (use monkeypatch)"
    assert not moved, "working directory left changed (use monkeypatch.chdir)"


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a base that holds the sample programme and what the three devices of its boat day handed in.

    Made once for all workers of a run; each has a copy. Nobody writes to it: who wants to, copies it.
    """
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    with FileLock(shared / "sample.lock"):
        if not (shared / "sample").exists():
            base, _ = Base.join(shared / "sample in the making", SAMPLE_SURVEYS / "programme.zip")
            for device in sorted((SAMPLE_SURVEYS / "boat_day").glob("*.zip")):
                base.merge(device)
            base.folder.rename(shared / "sample")
    return copytree(shared / "sample", tmp_path_factory.mktemp("sample") / "base")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    report = yield
    return _not_skipped(report)


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    report = yield
    return _not_skipped(report)


def _not_skipped(report: Any) -> Any:
    """A skip says that something is missing here (a browser, a module). On CI it may not be missing: that is a failure."""
    if ON_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which is a failure where CI=true: {report.longrepr}"
    return report
