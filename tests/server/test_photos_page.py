"""Photos are shown by digest alone, as what their bytes are, and can do nothing."""

from __future__ import annotations

from io import BytesIO

import pytest
from flask.testing import FlaskClient
from PIL import Image

from fieldkit.base import Base, Statement
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


def test_a_small_copy_is_shown_and_shut_in_as_the_photo_is(client: FlaskClient, base: Base) -> None:
    answer = client.get(f"/photos/{kept(base, picture('PNG'))}/320", buffered=True)
    assert (answer.mimetype, answer.headers["Content-Security-Policy"]) == ("image/jpeg", "default-src 'none'; sandbox")
    with Image.open(BytesIO(answer.data)) as copy:
        assert copy.size == (4, 3)


@pytest.mark.parametrize("size", ["0", "321", "-1", "99999999999999999999", "320/..", "x"])
def test_nobody_can_ask_for_copies_of_any_size(size: str, client: FlaskClient, base: Base) -> None:
    assert client.get(f"/photos/{kept(base, picture('PNG'))}/{size}").status_code == 404
    assert not base.small.folder.exists()


@pytest.mark.parametrize("name", ["0" * 64, "x", "..%2f..%2ffieldkit.db", "%00"])
def test_there_is_no_copy_of_what_is_not_held(client: FlaskClient, name: str) -> None:
    assert client.get(f"/photos/{name}/320").status_code == 404


def test_copies_of_a_redacted_photo_go_with_it(client: FlaskClient, base: Base) -> None:
    digest = kept(base, picture("PNG"))
    client.get(f"/photos/{digest}/320", buffered=True)
    copy = base.small.get(digest, 320)
    base.say([Statement("redact", {"of": [digest], "why": "a face"})])
    assert not copy.exists() and client.get(f"/photos/{digest}/320").status_code == 404
