"""Make the sample programme in sample_surveys/: carry files, sheets to import, and the truth behind them.

    python scripts/make_sample.py [FOLDER]

The same seed gives the same bytes. Run it again after a change to a protocol in sample_surveys/protocols: their digests are
named in every session.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))  # fieldkit need not be installed for it

from sample.boat_day import honest, type_all  # noqa: E402
from sample.fates import all_fates  # noqa: E402
from sample.flaws import spoil  # noqa: E402
from sample.founding import Protocols  # noqa: E402
from sample.past import past  # noqa: E402
from sample.programme import NAME, identity  # noqa: E402
from sample.sheets import MAPPING, crew_table, long_table  # noqa: E402
from sample.story import tell  # noqa: E402
from sample.truth import truth  # noqa: E402

from fieldkit.ledger import Entry  # noqa: E402  (found through the path set above)
from fieldkit.ledger.carry import About, write_carry  # noqa: E402
from fieldkit.protocol import Protocol, read_protocol  # noqa: E402

PROTOCOLS = ROOT / "sample_surveys" / "protocols"


def main(folder: Path) -> None:
    """Write every file of the sample; files of those names are replaced."""
    read = {name: _read(name) for name in ("post_outplant_monitoring", "outplanting", "nursery_round")}
    protocols = _adopted(*read.values())
    fates = all_fates()
    story = tell(fates)
    held = past(fates, story, protocols)
    day = honest(story, protocols)
    spoil(day, story, held)
    told = type_all(day)
    (folder / "boat_day").mkdir(parents=True, exist_ok=True)
    bodies = {("protocols", one.digest): one.body for one in read.values()}
    photos = {("photos", digest): body for digest, body in held.photos.items()}
    _write(folder / "programme.zip", "base", held.entries, bodies | photos)
    for device in ("a", "b", "c"):
        mine = [one for one in told.values() if one.slate.device == device]
        taken = {("photos", digest): body for one in mine for digest, body in one.photos if digest not in day.withheld}
        entries = (entry for one in mine for entry in one.log.entries)
        _write(folder / "boat_day" / f"device_{device}.zip", device, entries, taken)
    (folder / "sheets").mkdir(exist_ok=True)
    (folder / "sheets" / "history_ray_steps.csv").write_bytes(long_table(story, protocols))
    (folder / "sheets" / "outplants_old_moorings.xlsx").write_bytes(crew_table(story, protocols))
    (folder / "sheets" / "outplants_old_moorings.toml").write_bytes(MAPPING.encode())
    text = json.dumps(truth(fates, story, held, day, told), ensure_ascii=False, indent=1)
    (folder / "truth.json").write_text(text + "\n", "utf-8", newline="\n")


def _read(name: str) -> Protocol:
    path = PROTOCOLS / f"{name}.toml"
    return read_protocol(path.read_bytes(), name=path.name)


def _adopted(monitoring: Protocol, outplanting: Protocol, nursery: Protocol) -> Protocols:
    values = [
        {
            "protocol": identity("protocol", one.name),
            "name": one.name,
            "version": str(one.version),
            "digest": one.digest,
        }
        for one in (monitoring, outplanting, nursery)
    ]
    return Protocols(outplanting.digest, monitoring.digest, nursery.digest, tuple(values))


def _write(path: Path, device: str, entries: Iterable[Entry], content: dict[tuple[str, str], bytes]) -> None:
    about = About(programme=identity("programme", NAME), programme_name=NAME, source=identity("device", device))
    write_carry(path, about, entries, ((kind, digest, body) for (kind, digest), body in content.items()))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "sample_surveys")
