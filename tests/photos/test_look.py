"""What a photo tells of itself is read from its bytes; what is no photo, or too much of one, is refused by name."""

from __future__ import annotations

import io
import struct
import zlib
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image

from fieldkit.photos import Looked, PhotoError, look_at
from fieldkit.photos.look import MAX_BYTES, MAX_PIXELS

SIZE = (64, 48)


def exif(time: str | bytes | None = "2026:11:12 09:31:07") -> bytes:
    told = Image.Exif()
    if time is not None:
        told.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = time
    return told.tobytes()


@cache
def picture(kind: str = "JPEG", told: bytes = b"") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", SIZE, "navy").save(out, kind, exif=told)
    return out.getvalue()


def png(width: int, height: int) -> bytes:
    """The beginning of a PNG of any size; what it unpacks to stands in no relation to its bytes."""
    header = struct.pack(">LLBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"IDAT", zlib.compress(bytes(1000))), (b"IEND", b"")]
    framed = (struct.pack(">L", len(body)) + name + body + struct.pack(">L", zlib.crc32(name + body)) for name, body in chunks)
    return b"\x89PNG\r\n\x1a\n" + b"".join(framed)


def look(body: bytes) -> Looked:
    return look_at(io.BytesIO(body))


def refused(body: bytes) -> str:
    with pytest.raises(PhotoError) as raised:
        look(body)
    return raised.value.faults[0].key.removeprefix("photos.")


@pytest.mark.parametrize(("kind", "mime"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")])
def test_a_photo_tells_its_type_size_and_time(kind: str, mime: str) -> None:
    body = picture(kind, exif())
    assert look(body) == Looked(mime, *SIZE, camera_time="2026-11-12T09:31:07", bytes=len(body))


def test_a_photo_of_several_pictures_is_a_jpeg() -> None:
    """Some cameras put a preview behind the picture, in the multi-picture format of CIPA DC-007."""
    out = io.BytesIO()
    first = Image.new("RGB", SIZE, "navy")
    first.save(out, "MPO", save_all=True, append_images=[Image.new("RGB", (8, 8))])
    assert (look(out.getvalue()).type, look(out.getvalue()).width) == ("image/jpeg", 64)


def test_the_name_of_a_file_is_never_trusted(tmp_path: Path) -> None:
    (tmp_path / "IMG_0001.PNG").write_bytes(picture("JPEG"))
    assert look_at(tmp_path / "IMG_0001.PNG").type == "image/jpeg"


def test_a_photo_without_a_time_has_none() -> None:
    assert look(picture("JPEG", exif(None))).camera_time is None
    assert look(picture("JPEG")).camera_time is None


@pytest.mark.parametrize(
    "time", ["0000:00:00 00:00:00", "    :  :     :  :  ", "", "2026:13:40 09:31:07", "yesterday", b"\xff\xfe"]
)
def test_a_time_that_is_none_is_not_guessed(time: str | bytes) -> None:
    assert look(picture("JPEG", exif(time))).camera_time is None


def test_no_zone_is_invented_where_the_camera_tells_one() -> None:
    """The zone of the camera is a guess of whoever set it; the session knows the place."""
    told = Image.Exif()
    told.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2026:11:12 09:31:07"
    told.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.OffsetTimeOriginal] = "+08:00"
    assert look(picture("JPEG", told.tobytes())).camera_time == "2026-11-12T09:31:07"


def test_the_time_of_the_last_change_is_not_taken_for_the_time_of_the_photo() -> None:
    told = Image.Exif()
    told[ExifTags.Base.DateTime] = "2026:11:12 09:31:07"
    assert look(picture("JPEG", told.tobytes())).camera_time is None


@given(st.data())
def test_a_photo_with_broken_exif_is_a_photo_all_the_same(data: st.DataObject) -> None:
    told = bytearray(exif())
    for _ in range(data.draw(st.integers(1, 5))):
        told[data.draw(st.integers(6, len(told) - 1))] = data.draw(st.integers(0, 255))
    assert look(picture("JPEG", bytes(told))).width == 64


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@given(data=st.data())
def test_any_damage_is_read_or_refused(kind: str, data: st.DataObject) -> None:
    body = bytearray(picture(kind, exif()))
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, min(len(body), 400)))
        body[at : at + data.draw(st.integers(0, 8))] = data.draw(st.binary(max_size=8))
    try:
        assert look(bytes(body)).bytes == len(body)
    except PhotoError as error:
        assert error.texts()


@given(st.binary(max_size=200))
def test_noise_is_no_photo(noise: bytes) -> None:
    assert refused(noise) == "no_photo"


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"<script>",
        b"%PDF-1.7",
        b"%!PS-Adobe",
        b"PK\x03\x04",
        b"\xff\xd8\xff",
    ],
)
def test_what_is_no_photo_is_refused_whatever_it_is_called(tmp_path: Path, body: bytes) -> None:
    (tmp_path / "IMG_0001.JPG").write_bytes(body)
    with pytest.raises(PhotoError) as raised:
        look_at(tmp_path / "IMG_0001.JPG")
    assert (raised.value.faults[0].key, "IMG_0001.JPG" in str(raised.value)) == ("photos.no_photo", True)


@pytest.mark.parametrize("kind", ["GIF", "BMP", "TIFF", "ICO"])
def test_pictures_that_no_camera_of_ours_takes_are_refused(kind: str) -> None:
    assert refused(picture(kind)) == "no_photo"


def test_a_photo_in_heic_is_refused_with_what_to_do() -> None:
    body = struct.pack(">L", 24) + b"ftypheic" + bytes(12)
    assert refused(body) == "heic"


@pytest.mark.parametrize(("width", "height"), [(60_000, 60_000), (10_000, 9000), (2**31 - 1, 1), (MAX_PIXELS + 1, 1)])
def test_a_picture_that_would_burst_the_memory_is_refused_unopened(width: int, height: int) -> None:
    assert refused(png(width, height)) == "too_many_pixels"


def test_the_largest_picture_is_looked_at() -> None:
    assert look(png(MAX_PIXELS, 1)).width == MAX_PIXELS


def test_a_file_larger_than_any_photo_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "film.jpg").open("wb") as file:
        file.write(picture())
        file.truncate(MAX_BYTES + 1)
    with pytest.raises(PhotoError) as raised:
        look_at(tmp_path / "film.jpg")
    assert raised.value.faults[0].key == "photos.too_large"


@pytest.mark.parametrize("name", ["gone.jpg", "."])
def test_a_file_that_cannot_be_read_is_said(tmp_path: Path, name: str) -> None:
    with pytest.raises(PhotoError) as raised:
        look_at(tmp_path / name)
    assert raised.value.faults[0].key == "photos.cannot_read"
