"""How well are photos told to show the same picture, and how long does it take?

    python scripts/bench/looks.py

Every photo of the sample is recompressed, made smaller, brightened, darkened and trimmed; each version should be alike to its
photo and to no other. The sample's photos are drawn, and much alike: a coral of one of three species in the middle of blue
ground. Printed: of each version how many are found, and in how many of 512 bits they differ; of all versions how many are
found, and of the pairs called alike how many are; the same for the usual 64 bits. Then the time to look at a photo of 12
megapixels, and to hold one against fifty thousand.
"""

from __future__ import annotations

import io
import random
import sys
import time
import zipfile
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fieldkit.photos.looks import ALIKE, Bits, bits_of, differing  # noqa: E402
from fieldkit.shipped import SAMPLE_SURVEYS  # noqa: E402

MANY = 50_000
WIDE = (4000, 3000)


def photos() -> dict[str, bytes]:
    files = [SAMPLE_SURVEYS / "programme.zip", *sorted((SAMPLE_SURVEYS / "boat_day").glob("*.zip"))]
    found = {}
    for file in files:
        with zipfile.ZipFile(file) as carried:
            found |= {name: carried.read(name) for name in carried.namelist() if name.startswith("photos/")}
    return found


def versions(picture: Image.Image, dice: random.Random) -> Iterator[tuple[str, Image.Image, int]]:
    """Name, picture, and JPEG quality."""
    width, height = picture.size
    yield "recompressed", picture, 40
    yield "half as large", picture.resize((width // 2, height // 2), Image.Resampling.LANCZOS), 75
    yield "a third as large", picture.resize((width // 3, height // 3), Image.Resampling.BICUBIC), 60
    yield "brighter", picture.point(lambda value: min(255, int(value * 1.15 + 8))), 75
    yield "darker", picture.point(lambda value: int(value * 0.8)), 75
    for share in (0.01, 0.02, 0.04):
        less = (round(width * share), round(height * share))
        left, top = (round(side * dice.random()) for side in less)
        kept = (left, top, width - less[0] + left, height - less[1] + top)
        yield f"trimmed by {share:.0%}", picture.crop(kept), 75


def seen(picture: Image.Image, quality: int, folder: Path) -> tuple[Bits, int]:
    """By our bits, and by the usual 64 in one number."""
    file = folder / "version.jpg"
    picture.save(file, "JPEG", quality=quality)
    with Image.open(file) as opened:
        points = np.asarray(opened.convert("L").resize((9, 8), Image.Resampling.LANCZOS), dtype=int)
    return bits_of(file), int.from_bytes(np.packbits(points[:, 1:] > points[:, :-1]).tobytes())


def main() -> None:
    dice = random.Random(1)
    with TemporaryDirectory() as name:
        folder = Path(name)
        pictures = [Image.open(io.BytesIO(given)).convert("RGB") for given in photos().values()]
        originals = [seen(picture, 95, folder) for picture in pictures]
        far: dict[str, list[tuple[int, int]]] = {}
        for picture, (bits, usual) in zip(pictures, originals, strict=True):
            for what, version, quality in versions(picture, dice):
                other, other_usual = seen(version, quality, folder)
                far.setdefault(what, []).append((int(differing(bits, other[None])[0]), (usual ^ other_usual).bit_count()))
        apart = [
            (int(differing(one, other[None])[0]), (usual ^ other_usual).bit_count())
            for (one, usual), (other, other_usual) in combinations(originals, 2)
        ]
        print(f"{len(pictures)} photos, {len(apart)} pairs of different ones")
        for what, found in far.items():
            bits = [one for one, _ in found]
            share = np.mean(np.array(bits) <= ALIKE)
            print(f"{what:20} found {share:7.1%}   differs in {np.median(bits):3.0f}, at most {max(bits)}")
        bits = [one for one, _ in apart]
        print(f"{'different pictures':20} differ in {min(bits)} at least, {np.median(bits):.0f} mostly")
        every = [one for found in far.values() for one in found]
        _tell("512 bits", ALIKE, [one for one, _ in every], bits)
        for most in (2, 5, 8):
            _tell("64 bits", most, [one for _, one in every], [one for _, one in apart])
        _times(pictures[0], folder)


def _tell(what: str, most: int, same: list[int], apart: list[int]) -> None:
    right, wrong = sum(one <= most for one in same), sum(one <= most for one in apart)
    print(f"{what}, at most {most} differing: recall {right / len(same):.1%}, precision {right / max(right + wrong, 1):.1%}")


def _times(picture: Image.Image, folder: Path) -> None:
    wide = folder / "wide.jpg"
    picture.resize(WIDE).save(wide, "JPEG", quality=90)
    looking = min(_took(lambda: bits_of(wide)) for _ in range(5))
    many = np.random.default_rng(1).integers(0, 256, (MANY, 64), dtype=np.uint8)
    comparing = min(_took(lambda: differing(many[0], many)) for _ in range(5))
    print(f"to look at one of {WIDE[0]} by {WIDE[1]}: {looking:.0f} ms; to hold it against {MANY}: {comparing:.1f} ms")


def _took(do: object) -> float:
    start = time.perf_counter()
    do()  # type: ignore[operator]
    return 1000 * (time.perf_counter() - start)


if __name__ == "__main__":
    main()
