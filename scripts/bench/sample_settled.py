"""Survival of the sample programme before its matters are settled, once a lead who knew the truth settled them, and in truth.

    python scripts/bench/sample_settled.py

Every planted flaw that a ruling settles takes the answer of `sample_surveys/truth.json`; then the same question is asked again.
Printed for each site and age, in per cent: missing counted as lost and missing left open, and the truth. "Outside" is how far
the truth lies outside the two figures, which always stand side by side. `tests/reports/test_sample_settled.py` holds that.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fieldkit.base import Base  # noqa: E402
from tests.reports.planted import SAMPLE, SITES, TRUTH, figures, flaws, settle  # noqa: E402

AGES = {"P12M": 365, "P24M": 730}


def main() -> None:
    with TemporaryDirectory() as folder:
        base, _ = Base.join(Path(folder) / "sample", SAMPLE / "programme.zip")
        for device in sorted((SAMPLE / "boat_day").glob("*.zip")):
            base.merge(device)
        before = figures(base, by=("site",), at=tuple(AGES.values()))
        for flaw in flaws():
            settle(base, flaw)
        after = figures(base, by=("site",), at=tuple(AGES.values()))
    print(f"{'site':16}{'age':>5}{'before':>20}{'outside':>9}{'settled':>20}{'outside':>9}{'truth':>8}")
    totals = [0.0, 0.0]
    for name, code in SITES.items():
        for age, days in AGES.items():
            true = float(TRUTH["survival"]["site"][code][age]["share"])
            line = f"{name:16}{age[1:]:>5}"
            for i, found in enumerate((before, after)):
                lost, open_ = (_known(found, name, treatment, days) for treatment in ("lost", "open"))
                outside = max(lost - true, true - open_, 0)
                totals[i] += outside
                line += f"{100 * lost:11.2f} …{100 * open_:6.2f}{100 * outside:9.2f}"
            print(f"{line}{100 * true:8.2f}")
    print(f"{'in all':21}{'':20}{100 * totals[0]:9.2f}{'':20}{100 * totals[1]:9.2f}")


def _known(found: dict[str, Any], site: str, treatment: str, age: int) -> float:
    """Survival at the age at which that of a nominal one is known."""
    group = next(group for group in found["groups"] if group["group"]["site"] == site)
    return next(float(at["known_at"]["survival"]) for at in group[f"missing_{treatment}"]["at"] if at["age"] == age)


if __name__ == "__main__":
    main()
