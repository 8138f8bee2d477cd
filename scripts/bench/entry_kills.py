"""Whether what the entry page has told is there after it was killed, reloaded or closed in the middle of a slate.

    python scripts/bench/entry_kills.py [--runs 200] [--seed 1] [--scripts 8] [--folder DIR]

A real base, a real Chromium of a phone's size on a profile that is paired with it, and a slate entered by real taps, letters
and photos (one script in four: by codes on a laptop's keyboard). At a random step, within a quarter of a second, every process
of the browser is killed (three runs of five), the page loaded anew, or its tab closed; then the slate is opened again on the
same profile, in every other script with the base gone. The page itself told what it showed before the blow
(tests/browser/entry/kills.py); all of that must be there. Printed are runs, the changes whose feedback was shown, how many of
them were lost, and in how many runs the blow fell between a tap and its feedback.
"""

from __future__ import annotations

import argparse
import io
import random
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from time import perf_counter

from PIL import Image
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[2]))

from fieldkit.base import Base
from fieldkit.shipped import SAMPLE_SURVEYS
from tests.browser.entry.conftest import LAPTOP, PHONE, Shore
from tests.browser.entry.kills import Blow, Crew, Outcome, Run, closed, killed, reloaded, script, typed_script, undisturbed

BLOWS: tuple[Blow, ...] = (killed, reloaded, killed, closed, killed)
LAPTOP_EVERY = 4  # scripts
SMALL = {**PHONE, "device_scale_factor": 1}  # fewer pixels to draw: it is the disk that is asked


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--scripts", type=int, default=8, help="how many different slates are entered")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where to work; default: a temporary folder")
    options = parser.parse_args()
    folder = options.folder or Path(mkdtemp())
    began = perf_counter()
    runs, total = Counter[str](), Counter[str]()
    try:
        for name, outcome in outcomes(folder, options.runs, options.scripts, options.seed):
            runs[name] += 1
            print(f"{runs.total()} {name}: {outcome}", file=sys.stderr, flush=True)
            total.update(
                {
                    "changes": outcome.changes,
                    "lost": outcome.lost,
                    "strange": outcome.is_strange,
                    "under way": outcome.was_under_way,
                    "kept unseen": outcome.was_kept_unseen,
                }
            )
    finally:
        if options.folder is None:
            rmtree(folder, ignore_errors=True)
    print(f"{runs.total()} runs: " + ", ".join(f"{n} {name}" for name, n in runs.items()), end="; ")
    print(f"{(perf_counter() - began) / max(1, runs.total()):.1f} s a run, seed {options.seed}")
    print(f"changes whose feedback was shown: {total['changes']}; lost: {total['lost']}", end="; ")
    print(f"slates as they never stood: {total['strange']}")
    print(f"a change was under way in {total['under way']} runs, and kept in {total['kept unseen']} though nobody had seen it")
    sys.exit(1 if total["lost"] or total["strange"] else 0)


def outcomes(folder: Path, runs: int, scripts: int, seed: int) -> Iterator[tuple[str, Outcome]]:
    """What came of each run, one after the other; each script is entered once undisturbed, then as often as its share."""
    dice = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright, served(folder / "base") as shore, ExitStack() as ending:
        crews = [Crew(playwright, folder / name, shore, **kind) for name, kind in (("phone", SMALL), ("laptop", LAPTOP))]
        for crew in crews:
            ending.callback(crew.close)
        for number in range(scripts):
            by_codes = number % LAPTOP_EVERY == LAPTOP_EVERY - 1
            crew = crews[by_codes]
            steps = typed_script(dice) if by_codes else script(dice, picture(folder))
            stands = undisturbed(crew, steps)
            if number % 2:
                shore.stop()
            for i in range(number, runs, scripts):
                strike = BLOWS[(i // scripts) % len(BLOWS)]
                yield strike.__name__, strike(crew, Run(steps, stands), dice)
            if number % 2:
                shore.start()


@contextmanager
def served(folder: Path) -> Iterator[Shore]:
    base, _ = Base.join(folder, SAMPLE_SURVEYS / "programme.zip")
    for device in sorted((SAMPLE_SURVEYS / "boat_day").glob("*.zip")):
        base.merge(device)
    shore = Shore(folder)
    try:
        yield shore
    finally:
        shore.stop()


def picture(folder: Path) -> Path:
    """A photograph of some 2 MB."""
    bytes_ = io.BytesIO()
    Image.effect_noise((1600, 1200), 60).convert("RGB").save(bytes_, "JPEG", quality=92)
    path = folder / "coral.jpg"
    path.write_bytes(bytes_.getvalue())
    return path


if __name__ == "__main__":
    main()
