"""What serves a small laptop is small itself: libraries that only reports need stay on the disk while notes come in."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.server.serving import ROOT
from tests.support.programme import base_of

LARGE = {"fontTools", "fpdf", "openpyxl", *(f"scipy.{part}" for part in ("linalg", "optimize", "sparse", "special", "stats"))}
HANDING_IN = """
import sys
from pathlib import Path

from fieldkit.base import Base
from fieldkit.server import serve
from tests.exchange.devices import Phone, Station, Way

station = Station(Base(Path(sys.argv[1])))
device, token = station.paired("crew")
phone = Phone(device)
phone.open_session(day="2024-06-01")
phone.photograph(bytes(2_000_000))
done = phone.hand_in(Way(station, token))
print(done.entries, done.photos)
print(*sys.modules, sep="\\n")
"""


def test_a_hand_in_loads_none_of_the_libraries_that_reports_are_made_with(tmp_path: Path) -> None:
    base = base_of(tmp_path / "base")
    call = [sys.executable, "-c", HANDING_IN, str(base.folder)]
    done = subprocess.run(call, capture_output=True, text=True, check=True, cwd=ROOT)
    taken, *loaded = done.stdout.split("\n")
    assert (taken, LARGE & set(loaded)) == ("2 1", set())
