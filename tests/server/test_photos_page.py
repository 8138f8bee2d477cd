"""Photos are shown by digest alone, as what their bytes are, and can do nothing."""

from __future__ import annotations

from io import BytesIO

import pytest
from flask.testing import FlaskClient
from PIL import Image

from fieldkit.base import Base
from fieldkit.ledger import sha256


def kept(base: Base, body: bytes) -> str:
    digest = sha256(body)
    base.photos.put(BytesIO(body), digest)
    return digest


def picture(format_: str) -> bytes:
    held = BytesIO()
    Image.new("RGB", (4, 3), "teal").save(held, format_)
    return held.getvalue()


@pytest.mark.parametrize(("format_", "type_"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")])
def test_a_photo_is_shown_as_what_its_bytes_are(client: FlaskClient, base: Base, format_: str, type_: str) -> None:
    answer = client.get(f"/photos/{kept(base, picture(format_))}", buffered=True)
    assert (answer.mimetype, answer.data) == (type_, picture(format_))


def test_a_photo_is_shut_in(client: FlaskClient, base: Base) -> None:
    headers = client.get(f"/photos/{kept(base, picture('PNG'))}", buffered=True).headers
    assert headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Content-Disposition"].startswith("inline; filename=")


@pytest.mark.parametrize("body", [b"<html><script>alert(1)</script>", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b""])
def test_what_is_no_photo_is_not_shown_as_one(client: FlaskClient, base: Base, body: bytes) -> None:
    assert client.get(f"/photos/{kept(base, body)}").status_code == 404


@pytest.mark.parametrize("name", ["0" * 64, "x", "..%2f..%2ffieldkit.db", "../fieldkit.db", "%00"])
def test_nothing_but_a_held_digest_names_a_photo(client: FlaskClient, name: str) -> None:
    assert client.get(f"/photos/{name}").status_code == 404


def test_a_photo_that_the_browser_has_is_not_sent_again(client: FlaskClient, base: Base) -> None:
    path = f"/photos/{kept(base, picture('PNG'))}"
    etag = client.get(path, buffered=True).headers["ETag"]
    assert client.get(path, headers={"If-None-Match": etag}, buffered=True).status_code == 304
