"""Small copies: upright, small, silent about where and when; the photo itself stays as it was."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from PIL import ExifTags, Image

from fieldkit.ledger import sha256
from fieldkit.photos import PhotoError, PhotoStore, SmallCopies

XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><place>secret reef</place></x:xmpmeta>'


@pytest.fixture
def photos(tmp_path: Path) -> PhotoStore:
    return PhotoStore(tmp_path / "photos")


@pytest.fixture
def small(tmp_path: Path, photos: PhotoStore) -> SmallCopies:
    return SmallCopies(tmp_path / "small", photos)


def kept(photos: PhotoStore, body: bytes) -> str:
    digest = sha256(body)
    photos.put(BytesIO(body), digest)
    return digest


def picture(width: int = 900, height: int = 600, *, turned: int = 1, format_: str = "JPEG") -> bytes:
    """Red on top, blue below; its EXIF asks for a turn, and tells a position."""
    made = Image.new("RGB", (width, height), "blue")
    made.paste("red", (0, 0, width, height // 2))
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = turned
    exif[ExifTags.Base.Artist] = "secret diver"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (17.0, 40.0, 30.0)
    held = BytesIO()
    made.save(held, format_, exif=exif, xmp=XMP, **({"comment": b"secret remark"} if format_ == "JPEG" else {}))
    return held.getvalue()


@pytest.mark.parametrize("size", [320, 1280])
def test_a_copy_is_no_larger_than_was_asked_for(size: int, photos: PhotoStore, small: SmallCopies) -> None:
    with Image.open(small.get(kept(photos, picture(3000, 2000)), size)) as copy:
        assert max(copy.size) == size and copy.size[0] > copy.size[1]


def test_a_photo_that_is_small_already_is_not_blown_up(photos: PhotoStore, small: SmallCopies) -> None:
    with Image.open(small.get(kept(photos, picture(40, 30)), 320)) as copy:
        assert copy.size == (40, 30)


def test_a_copy_stands_upright(photos: PhotoStore, small: SmallCopies) -> None:
    """Orientation 6: the camera was held on its side, the picture is to be turned a quarter to the right (EXIF 2.3, 4.6.4)."""
    with Image.open(small.get(kept(photos, picture(turned=6)), 320)) as copy:
        assert copy.size == (213, 320)
        (right, left) = (copy.convert("RGB").getpixel((x, 160)) for x in (200, 12))
    assert isinstance(right, tuple) and isinstance(left, tuple)
    assert right[0] > 200 > 60 > right[2] and left[2] > 200 > 60 > left[0]


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP"])
def test_a_copy_tells_nothing_but_the_picture(format_: str, photos: PhotoStore, small: SmallCopies) -> None:
    body = picture(format_=format_)
    copied = small.get(kept(photos, body), 320).read_bytes()
    assert b"secret" in body and b"secret" not in copied and b"Exif" not in copied
    with Image.open(BytesIO(copied)) as copy:
        assert dict(copy.getexif()) == {}


def test_the_photo_itself_is_not_touched(photos: PhotoStore, small: SmallCopies) -> None:
    body = picture()
    small.get(digest := kept(photos, body), 320)
    assert photos.path(digest).read_bytes() == body and list(photos.check()) == []


def test_a_copy_is_made_once(photos: PhotoStore, small: SmallCopies) -> None:
    made = small.get(digest := kept(photos, picture()), 320)
    before = made.stat().st_ino
    assert small.get(digest, 320).stat().st_ino == before


def test_a_copy_that_was_thrown_away_is_made_again(photos: PhotoStore, small: SmallCopies) -> None:
    made = small.get(digest := kept(photos, picture()), 320)
    before = made.read_bytes()
    made.unlink()
    assert small.get(digest, 320).read_bytes() == before


@pytest.mark.parametrize("size", [0, 319, 100_000])
def test_no_other_size_is_made(size: int, photos: PhotoStore, small: SmallCopies) -> None:
    with pytest.raises(PhotoError) as refused:
        small.get(kept(photos, picture()), size)
    assert refused.value.faults[0].key == "photos.no_such_size"


@pytest.mark.parametrize("body", [b"<svg/>", b"", picture()[:2000]], ids=["no photo", "empty", "cut off"])
def test_what_cannot_be_read_leaves_no_copy(body: bytes, photos: PhotoStore, small: SmallCopies) -> None:
    with pytest.raises(PhotoError):
        small.get(kept(photos, body), 320)
    assert not small.folder.exists()


def test_of_a_photo_that_is_not_held_there_is_no_copy(photos: PhotoStore, small: SmallCopies) -> None:
    small.get(digest := kept(photos, picture()), 320)
    photos.path(digest).unlink()
    with pytest.raises(PhotoError):
        small.get(digest, 320)


def test_what_is_dropped_is_off_the_disk(photos: PhotoStore, small: SmallCopies) -> None:
    made = [small.get(digest := kept(photos, picture()), size) for size in (320, 1280)]
    small.drop(digest)
    assert not any(path.exists() for path in made)
