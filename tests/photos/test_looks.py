"""The same picture in other bytes is found, a different one is not; all of it can be thrown away."""

from __future__ import annotations

import zipfile
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from fieldkit.ledger import sha256
from fieldkit.photos import Looks, PhotoError, PhotoStore
from fieldkit.photos.looks import ALIKE, bits_of, differing
from fieldkit.shipped import SAMPLE_SURVEYS


def taken(how_many: int) -> list[bytes]:
    """Photos of the sample's boat day: drawn, and much alike."""
    with zipfile.ZipFile(SAMPLE_SURVEYS / "boat_day" / "device_a.zip") as carried:
        return [carried.read(name) for name in carried.namelist() if name.startswith("photos/")][:how_many]


def changed(photo: bytes, *, scale: float = 1, trim: float = 0, quality: int = 60, turned: bool = False) -> bytes:
    with Image.open(BytesIO(photo)) as opened:
        width, height = opened.size
        kept = opened.convert("RGB").crop((round(width * trim), 0, width, round(height * (1 - trim))))
        kept = kept.resize((round(width * scale), round(height * scale)))
    exif = Image.Exif()
    if turned:  # stored on its side, and shown upright by its EXIF
        kept = kept.transpose(Image.Transpose.ROTATE_90)
        exif[ExifTags.Base.Orientation] = 6
    written = BytesIO()
    kept.save(written, "JPEG", quality=quality, exif=exif)
    return written.getvalue()


@pytest.fixture
def photos(tmp_path: Path) -> PhotoStore:
    return PhotoStore(tmp_path / "photos")


@pytest.fixture
def looks(tmp_path: Path, photos: PhotoStore) -> Looks:
    return Looks(tmp_path / "small", photos)


def kept(photos: PhotoStore, body: bytes) -> str:
    digest = sha256(body)
    photos.put(BytesIO(body), digest)
    return digest


@pytest.mark.parametrize("how", [{"quality": 40}, {"scale": 0.5}, {"scale": 0.4, "trim": 0.01}, {"turned": True}])
def test_a_picture_that_was_changed_a_little_is_alike(photos: PhotoStore, looks: Looks, how: dict[str, float]) -> None:
    (photo,) = taken(1)
    one, other = kept(photos, photo), kept(photos, changed(photo, **how))  # type: ignore[arg-type]
    assert looks.catch_up(10)
    assert (looks.alike([one]), [set(pair) for pair in looks.pairs()]) == ({one: [other]}, [{one, other}])


def test_different_pictures_are_not_alike_however_much_the_scene_is(photos: PhotoStore, looks: Looks) -> None:
    digests = [kept(photos, photo) for photo in taken(20)]
    assert looks.catch_up(10)
    assert (looks.pairs(), set(map(tuple, looks.alike(digests).values()))) == ([], {()})


def test_bits_that_differ_are_counted_one_by_one() -> None:
    dice = np.random.default_rng(1)
    one, others = dice.integers(0, 256, 64, dtype=np.uint8), dice.integers(0, 256, (5, 64), dtype=np.uint8)
    slow = [sum((int(a) ^ int(b)).bit_count() for a, b in zip(one, other, strict=True)) for other in others]
    assert differing(one, others).tolist() == slow


def test_each_point_is_held_against_those_to_the_left_and_above(tmp_path: Path) -> None:
    """Krawetz 2013 (from memory): of a picture that brightens to the right every bit across is 1, and none down."""
    ramp = Image.fromarray(np.tile(np.arange(0, 255, 15, dtype=np.uint8), (17, 1)))
    ramp.save(tmp_path / "ramp.png")
    assert np.unpackbits(bits_of(tmp_path / "ramp.png")).tolist() == [1] * 256 + [0] * 256


def test_what_is_no_photo_is_passed_over(photos: PhotoStore, looks: Looks) -> None:
    no_photo = kept(photos, b"no photo")
    assert looks.catch_up(10)
    assert looks.alike([no_photo]) == {}
    with pytest.raises(PhotoError):
        bits_of(photos.path(no_photo))


def test_what_was_seen_is_there_for_another_process_and_can_be_thrown_away(tmp_path: Path, photos: PhotoStore) -> None:
    (photo,) = taken(1)
    one, other = kept(photos, photo), kept(photos, changed(photo))
    Looks(tmp_path / "small", photos).catch_up(10)
    assert Looks(tmp_path / "small", photos).alike([one]) == {one: [other]}
    (tmp_path / "small" / "looks").unlink()
    assert Looks(tmp_path / "small", photos).alike([one]) == {}


def test_a_record_left_half_by_a_killed_process_is_written_over(tmp_path: Path, photos: PhotoStore, looks: Looks) -> None:
    (photo,) = taken(1)
    one = kept(photos, photo)
    looks.catch_up(10)
    with (tmp_path / "small" / "looks").open("ab") as file:
        file.write(b"half")
    again, other = Looks(tmp_path / "small", photos), kept(photos, changed(photo))
    again.catch_up(10)
    assert (again.alike([one]), again.alike([other])) == ({one: [other]}, {other: [one]})


def test_a_photo_that_comes_in_later_is_held_against_those_before(photos: PhotoStore, looks: Looks) -> None:
    (photo,) = taken(1)
    one = kept(photos, photo)
    looks.catch_up(10)
    other = kept(photos, changed(photo))
    looks.catch_up(10)
    assert looks.alike([other]) == {other: [one]}


def test_a_redacted_photo_leaves_no_look(tmp_path: Path, photos: PhotoStore, looks: Looks) -> None:
    (photo,) = taken(1)
    one, other = kept(photos, photo), kept(photos, changed(photo))
    looks.catch_up(10)
    looks.drop(other)
    assert (looks.alike([one]), looks.pairs(), bytes.fromhex(other) in (tmp_path / "small" / "looks").read_bytes()) == (
        {one: []},
        [],
        False,
    )


def test_the_limit_lies_between_what_is_measured_of_same_and_different_pictures() -> None:
    assert 67 < ALIKE < 120
