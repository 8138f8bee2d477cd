"""How long printing takes: the slates of a site of 300 corals, on each paper.

    .venv/bin/python scripts/bench/slates.py            # some ten seconds

The corals stand in 30 plots of ten, each with its chart, and are observed by the shipped monitoring protocol. The reference is
fpdf2 alone in the same run: as many pages with as many empty cells (`FPDF.cell` with a border) as the slates have boxes, and
no text, type or code. The time is that of `slates` and `as_pdf` together, the best of three, after a first one.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fpdf import FPDF

from fieldkit.protocol import read_protocol
from fieldkit.shipped import SAMPLE_SURVEYS
from fieldkit.slates import PAPERS, Asked, as_pdf, slates

PLOTS, CORALS, RUNS = 30, 10, 3
PROTOCOL = SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml"


def main() -> int:
    known = register()
    protocol = read_protocol(Path(str(PROTOCOL)).read_bytes(), name=PROTOCOL.name)
    asked = Asked(protocol, tuple(plot["plot"] for plot in known["plots"]), "en", "https://fieldkit-k7qm.local:8443/enter")
    boxes = PLOTS * CORALS * len(slates(known, asked)[0].boxes)
    for called, paper in PAPERS.items():
        drawn = as_pdf(slates(known, asked), paper, title="bench")
        took = best(lambda paper=paper: as_pdf(slates(known, asked), paper, title="bench"))
        floor = best(lambda pages=drawn.sheets: empty_cells(pages, boxes))
        print(
            f"{called:12} {drawn.sheets:4} sheets {len(drawn.pdf) / 1024:5.0f} KiB {took:6.2f} s"
            f"   {boxes} empty cells by fpdf2 {floor:6.2f} s   ratio {took / floor:.1f}"
        )
    return 0


def best(work: Callable[[], object]) -> float:
    """The shortest of some runs, in seconds."""
    times = []
    for _ in range(RUNS):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


def empty_cells(pages: int, boxes: int) -> bytes:
    pdf = FPDF(unit="mm", orientation="landscape")
    pdf.set_auto_page_break(False)
    pdf.set_font("helvetica", size=9)
    each = -(-boxes // pages)
    for _ in range(pages):
        pdf.add_page()
        for place in range(each):
            pdf.set_xy(8 + 10 * (place % 26), 8 + 9 * (place // 26 % 20))
            pdf.cell(10, 9, border=1)
    return bytes(pdf.output())


def register() -> dict[str, Any]:
    """A site as devices get it."""
    return {
        "plots": [_plot(number) for number in range(PLOTS)],
        "sites": [{"site": "s", "name": "Ray Steps"}],
        "genotypes": [{"genotype": "g", "accession": "AMUR-01"}],
        "cautions": {"en": ["Dive plan and limits are the dive leader’s. Permits and local rules decide."]},
    }


def _plot(number: int) -> dict[str, Any]:
    corals = [
        {"coral": f"{number} {place}", "tag": f"B{number:02}{place}", "position": f"{36 * place}° 0.44 m", "genotype": "g"}
        for place in range(CORALS)
    ]
    found = {"landmark": "mooring", "bearing_deg": "190", "distance_m": "7", "marker": "steel pin"}
    return {"plot": f"0191af9a-2300-7000-8000-{number:012}", "site": "s", "name": f"RAY-{number:02}", "corals": corals, **found}


if __name__ == "__main__":
    sys.exit(main())
