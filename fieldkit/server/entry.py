"""The entry page: what a phone loads once and then has without signal. Every file is read as the server starts, packed, and
known by its content; the service worker fetches them by a list, whole or not at all."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import mimetypes
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from flask import Blueprint, Response, abort, redirect, render_template, request, send_from_directory, url_for
from werkzeug.wrappers import Response as AnyResponse

from fieldkit import messages
from fieldkit.server.current import current_base
from fieldkit.server.joined import join, without_comments
from fieldkit.shipped import STATIC

pages = Blueprint("entry", __name__, url_prefix="/enter")

PAGE = STATIC / "entry"
VENDOR = STATIC / "vendor"

# Where the page's libraries lie below vendor/, by the names that modules import them under. In the joined page they are inside.
LIBRARIES = {
    "preact": "preact/dist/preact.mjs",
    "preact/hooks": "preact/hooks/dist/hooks.mjs",
    "@preact/signals-core": "@preact/signals-core/dist/signals-core.mjs",
    "@preact/signals": "@preact/signals/dist/signals.mjs",
    "htm": "htm/dist/htm.mjs",
    "idb": "idb/build/index.js",
}
# Only where the browser hashes nothing itself, on plain http; and there no worker keeps a page.
LATE_LIBRARIES = {"@noble/hashes/sha2.js": "@noble/hashes/sha2.js"}
_ICONS = ("icon.svg", "icon-180.png", "icon-192.png", "icon-512.png", "icon-maskable-512.png")
# Sentences of the base's own pages that the page says too, where both read and advise alike.
_SHARED = (
    *("programme.tags", "programme.help_tags", "programme.kind_lot", "programme.nothing_said", "programme.advice_only"),
    *(
        "programme.no_tags",
        "programme.tag_too_long",
        "programme.tag_twice",
        "programme.too_many_tags",
        "programme.range_of_two",
    ),
    *("programme.range_backwards", "programme.no_genotype_named", "programme.genotype_of_none", "programme.advice_tag_worn"),
    *("programme.advice_other_genotype", "programme.advice_more_than_ready", "programme.advice_points"),
    *("programme.advice_crowded", "programme.advice_substrate"),
)
_PICTURES = (".jpg", ".png", ".webp")
_YEAR_SECONDS = 365 * 24 * 60 * 60
_TYPES = {".js": "text/javascript", ".mjs": "text/javascript", ".webmanifest": "application/manifest+json"}


@dataclass(frozen=True)
class Shipped:
    """A file of the page as it is sent."""

    body: bytes
    packed: bytes
    type: str
    digest: str


def import_map() -> str:
    """What bare imports mean: the one inline script, allowed by its digest."""
    places = {name: f"/enter/vendor/{path}" for name, path in (LIBRARIES | LATE_LIBRARIES).items()}
    return json.dumps({"imports": places}, separators=(",", ":"))


def policy() -> str:
    """What the page may load, run and ask. The base's address of tomorrow is not known yet: any of its port may be asked."""
    digest = base64.b64encode(hashlib.sha256(import_map().encode()).digest()).decode()
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' 'sha256-{digest}'",
            "style-src 'self'",
            "img-src 'self' blob:",
            "connect-src 'self' https://*:8443",
            "worker-src 'self'",
            "manifest-src 'self'",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
            "require-trusted-types-for 'script'",
            "trusted-types fieldkit-worker",
        )
    )


@cache
def files() -> Mapping[str, Shipped]:
    """Everything of the page but the shell and the worker, by its address below /enter/."""
    found = {
        "page.js": join(PAGE, "main.js", {name: VENDOR / path for name, path in LIBRARIES.items()}).encode(),
        "page.css": without_comments((PAGE / "page.css").read_text("utf-8")).encode(),
        "manifest.webmanifest": json.dumps(_manifest(), ensure_ascii=False).encode(),
        **{f"words/{language}.json": _words(language) for language in messages.LANGUAGES},
        **{f"icons/{name}": (PAGE / "icons" / name).read_bytes() for name in _ICONS},
    }
    return {name: _shipped(name, body) for name, body in found.items()}


@cache
def version() -> str:
    """What tells one state of the page from another: any change of any file changes it."""
    whole = hashlib.sha256()
    for name, file in sorted(files().items()):
        whole.update(f"{name} {file.digest}\n".encode())
    for path in (PAGE / "worker.js", Path(__file__).parent / "templates" / "entry.html"):
        whole.update(path.read_bytes())
    return whole.hexdigest()[:12]


@pages.get("/")
def shell() -> Response:
    """The page itself, empty until its script draws it."""
    response = Response(render_template("entry.html", version=version(), import_map=import_map()), mimetype="text/html")
    response.headers["Content-Security-Policy"] = policy()
    return response


@pages.get("")
def without_slash() -> AnyResponse:
    return redirect(url_for("entry.shell"), 308)


@pages.get("/worker.js")
def worker() -> Response:
    """The service worker, told what the page is made of."""
    made_of = json.dumps({"version": version(), "files": ["./", *sorted(files())]})
    response = Response(f"const PAGE = {made_of};\n" + (PAGE / "worker.js").read_text("utf-8"), mimetype="text/javascript")
    response.headers["Content-Security-Policy"] = policy()
    response.headers["Cache-Control"] = "no-cache"
    return response


@pages.get("/<path:name>")
def file(name: str) -> AnyResponse:
    """A file of the page."""
    found = files().get(name)
    if found is None:
        abort(404)
    takes_packed = request.accept_encodings.quality("gzip") > 0 and len(found.packed) < len(found.body)
    response = Response(found.packed if takes_packed else found.body, content_type=found.type)
    if takes_packed:
        response.content_encoding = "gzip"
    response.set_etag(found.digest[:32] + ("-gz" if takes_packed else ""))
    response.headers["Cache-Control"] = "no-cache"
    response.vary.add("Accept-Encoding")
    return response.make_conditional(request)


@pages.get("/apart/<path:name>")
def apart(name: str) -> Response:
    """A module of the page as it is written, for whoever reads it or tries one alone."""
    return send_from_directory(PAGE, name, mimetype="text/javascript" if name.endswith(".js") else None)


@pages.get("/examples/<name>")
def example(name: str) -> Response:
    """The picture that a protocol names as an example of a field; it lies in the base's folder `examples`."""
    folder = current_base().folder / "examples"
    found = next((f"{name}{ending}" for ending in _PICTURES if (folder / f"{name}{ending}").is_file()), None)
    if found is None:
        abort(404)
    return send_from_directory(folder.absolute(), found)


@pages.get("/vendor/<path:name>")
def library(name: str) -> Response:
    """A library as it is published: for a module alone, or a browser without its own hashing."""
    return send_from_directory(VENDOR, name, mimetype="text/javascript", max_age=_YEAR_SECONDS)


def _words(language: str) -> bytes:
    texts = {key: text for key, text in messages.catalogue(language).items() if key.startswith("entry.") or key in _SHARED}
    return json.dumps(texts, ensure_ascii=False, sort_keys=True).encode()


def _manifest() -> dict[str, object]:
    png = [
        ("icon-192.png", "192x192", "any"),
        ("icon-512.png", "512x512", "any"),
        ("icon-maskable-512.png", "512x512", "maskable"),
    ]
    return {
        "name": "fieldkit",
        "short_name": "fieldkit",
        "start_url": "./",
        "scope": "./",
        "display": "standalone",
        "background_color": "#fffdf7",
        "theme_color": "#f3e6c4",
        "icons": [{"src": f"icons/{name}", "sizes": sizes, "type": "image/png", "purpose": use} for name, sizes, use in png],
    }


def _shipped(name: str, body: bytes) -> Shipped:
    ending = name[name.rindex(".") :]
    type_ = _TYPES.get(ending) or mimetypes.guess_type(name)[0] or "application/octet-stream"
    text = type_.startswith("text/") or type_ in ("application/json", "application/manifest+json", "image/svg+xml")
    charset = "; charset=utf-8" if text else ""
    return Shipped(body, gzip.compress(body, 9, mtime=0), type_ + charset, hashlib.sha256(body).hexdigest())
