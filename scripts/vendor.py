"""Fetch the third-party files that travel with the project anew, as published, with digests that a test holds them to.

    python3 scripts/vendor.py                    # the versions that are listed
    python3 scripts/vendor.py idb@8.0.4 htm@3.1.1    # these in other versions

Each folder of such files has a `vendored.json`, which lists packages, versions and files; to add a package, write it there
with its name, version, licence and files, and call this. Needs npm, which runs none of a package's own scripts here.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
FOLDERS = (ROOT / "static" / "vendor", ROOT / "tests" / "browser" / "vendor", ROOT / "fieldkit" / "slates" / "fonts")
LIST = "vendored.json"


def main(wanted: list[str]) -> int:
    versions = dict(name.rsplit("@", 1) for name in wanted)
    for folder in FOLDERS:
        packages = json.loads((folder / LIST).read_text("utf-8"))
        for package in packages:
            package["version"] = versions.pop(package["name"], package["version"])
            _renew(folder, package)
        (folder / LIST).write_text(json.dumps(packages, indent=1) + "\n", "utf-8")
    for name in versions:
        print(f"{name} is in no {LIST}; write it there first", file=sys.stderr)
    return int(bool(versions))


def _renew(folder: Path, package: dict[str, Any]) -> None:
    """Put the listed files of a package in place, and write into `package` what they are."""
    name, published = package["name"], f"{package['name']}@{package['version']}"
    integrity = _npm("view", published, "dist.integrity", cwd=folder).strip()
    with tempfile.TemporaryDirectory() as temporary:
        _npm("pack", published, "--ignore-scripts", cwd=Path(temporary))
        (archive,) = Path(temporary).glob("*.tgz")
        true = "sha512-" + base64.b64encode(hashlib.sha512(archive.read_bytes()).digest()).decode("ascii")
        if true != integrity:
            raise SystemExit(f"{published}: the archive is {true}, and the registry says {integrity}")
        files = _taken_from(archive, name, list(package["files"]))
    shutil.rmtree(folder / name, ignore_errors=True)
    for file, body in files.items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_bytes(body)
    package["source"] = f"npm pack {published}"
    package["integrity"] = integrity
    package["files"] = {file: hashlib.sha256(body).hexdigest() for file, body in files.items()}
    print(published, sum(map(len, files.values())), "bytes")


def _taken_from(archive: Path, name: str, files: list[str]) -> dict[str, bytes]:
    """The bytes of each file; in the archive they stand below `package/`, with us below the package's name."""
    with tarfile.open(archive) as tar:
        members = {file: tar.extractfile("package/" + file.removeprefix(f"{name}/")) for file in files}
        return {file: member.read() for file, member in members.items() if member}


def _npm(*call: str, cwd: Path) -> str:
    return subprocess.run(["npm", *call], cwd=cwd, check=True, capture_output=True, text=True).stdout


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
