"""The entry page as it is sent: small, whole, allowed nothing but itself, and known by its content."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re

from flask.testing import FlaskClient
from PIL import Image
from werkzeug.test import TestResponse

from fieldkit import messages
from fieldkit.base import Base
from fieldkit.server import entry
from fieldkit.shipped import STATIC

SAID = re.compile(r't\("(programme\.[a-z_]+)"')
MOST_BYTES = 60_000  # of script and style, packed: what was set for the page before it was written


def asked(client: FlaskClient, path: str, **headers: str) -> TestResponse:
    return client.get(f"/enter/{path}", headers=headers)


def made_of(client: FlaskClient) -> dict[str, object]:
    """What the worker is told the page is made of."""
    found = re.match(r"const PAGE = (.*);\n", asked(client, "worker.js").text)
    assert found
    told: dict[str, object] = json.loads(found.group(1))
    return told


def test_script_and_style_are_at_most_60_kb_packed() -> None:
    sizes = {name: len(file.packed) for name, file in entry.files().items() if name.endswith((".js", ".mjs", ".css"))}
    assert sum(sizes.values()) <= MOST_BYTES, sizes


def test_the_worker_fetches_the_shell_and_every_file_of_the_page(client: FlaskClient) -> None:
    listed = made_of(client)["files"]
    assert listed == ["./", *sorted(entry.files())]
    assert {asked(client, "" if name == "./" else name).status_code for name in listed} == {200}


def test_page_and_worker_name_one_version(client: FlaskClient) -> None:
    assert f'<meta name="version" content="{made_of(client)["version"]}">' in asked(client, "").text


def test_the_only_inline_script_is_the_import_map_allowed_by_its_digest(client: FlaskClient) -> None:
    answer = asked(client, "")
    inline = re.findall(r"<script(?![^>]*src)[^>]*>(.*?)</script>", answer.text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(inline[0].encode()).digest()).decode()
    assert len(inline) == 1
    assert f"script-src 'self' 'sha256-{digest}';" in answer.headers["Content-Security-Policy"]


def test_the_page_may_ask_a_base_at_an_address_not_known_yet_and_nothing_else(client: FlaskClient) -> None:
    policy = asked(client, "").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "connect-src 'self' https://*:8443;" in policy


def test_a_browser_that_takes_packed_files_gets_them_packed(client: FlaskClient) -> None:
    packed = asked(client, "page.js", **{"Accept-Encoding": "gzip, br"})
    plain = asked(client, "page.js", **{"Accept-Encoding": "identity"})
    assert (packed.content_encoding, plain.content_encoding) == ("gzip", None)
    assert gzip.decompress(packed.data) == plain.data


def test_a_file_that_did_not_change_is_not_sent_again(client: FlaskClient) -> None:
    first = asked(client, "page.css")
    assert asked(client, "page.css", **{"If-None-Match": first.headers["ETag"]}).status_code == 304


def test_every_language_is_told_every_sentence_that_the_page_says(client: FlaskClient) -> None:
    said = {key for path in (STATIC / "entry").rglob("*.js") for key in SAID.findall(path.read_text("utf-8"))}
    planting = {f"programme.{key}" for path in ("series.js", "practice.js") for key in _faults(path)}
    for language in messages.LANGUAGES:
        told = asked(client, f"words/{language}.json").json
        assert told.keys() == {key for key in messages.catalogue(language) if key.startswith("entry.")} | said | planting


def _faults(name: str) -> list[str]:
    """What a module of rules finds, as the end of a key."""
    found = re.findall(r'(?:fault|refuse|say)\("([a-z_]+)"', (STATIC / "entry" / "row" / name).read_text("utf-8"))
    return [f"advice_{key}" if name == "practice.js" else key for key in found]


def test_the_manifest_names_icons_that_are_there(client: FlaskClient) -> None:
    manifest = asked(client, "manifest.webmanifest").json
    assert (manifest["display"], {asked(client, icon["src"]).status_code for icon in manifest["icons"]}) == (
        "standalone",
        {200},
    )


def test_a_module_can_be_read_as_it_is_written(client: FlaskClient) -> None:
    with asked(client, "apart/row/row.js") as answer:
        assert answer.data == (STATIC / "entry" / "row" / "row.js").read_bytes()


def test_an_example_picture_comes_from_the_folder_of_the_base(client: FlaskClient, base: Base) -> None:
    (base.folder / "examples").mkdir()
    Image.new("RGB", (4, 3)).save(base.folder / "examples" / "pale.png")
    with asked(client, "examples/pale") as answer:
        assert (answer.status_code, answer.mimetype) == (200, "image/png")
    assert [asked(client, f"examples/{name}").status_code for name in ("dark", "..", "../fieldkit")] == [404] * 3


def test_an_address_without_the_slash_leads_to_the_page(client: FlaskClient) -> None:
    answer = client.get("/enter")
    assert (answer.status_code, answer.headers["Location"]) == (308, "/enter/")


def test_what_is_no_file_of_the_page_is_not_found(client: FlaskClient) -> None:
    assert [asked(client, name).status_code for name in ("row/row.js", "apart/../../pyproject.toml", "vendor/@noble/x.js")] == [
        404
    ] * 3
