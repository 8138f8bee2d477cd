"""Photos as they were taken, by the digest of their bytes and nothing else; and those that show the same picture."""

from __future__ import annotations

from pathlib import Path

from flask import Blueprint, Response, abort, render_template, send_file

from fieldkit.photos import PhotoError, look_at
from fieldkit.reports.lookalikes import is_of_several, same_pictures
from fieldkit.server.current import current_base

pages = Blueprint("photos", __name__)

_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
_YEAR_SECONDS = 365 * 24 * 60 * 60


AT_ONCE = 30  # sets of pictures on a page; chosen by us


@pages.get("/photos/alike")
def alike() -> str:
    """Pictures that were handed in more than once, those of several corals first."""
    base = current_base()
    with base.view() as view:
        found = same_pictures(view, base.looks)
    here = found[:AT_ONCE]
    return render_template(
        "lookalikes.html",
        found=here,
        more=len(found) - len(here),
        is_of_several=is_of_several,
        held={one.photo for claims in here for one in claims if base.photos.has(one.photo)},
    )


@pages.get("/photos/<digest>")
def show(digest: str) -> Response:
    """One photo, its type told from its bytes: whatever else was handed in as one is not shown."""
    photos = current_base().photos
    try:
        type_ = look_at(photos.path(digest)).type
    except PhotoError:
        abort(404)
    return _shut_in(photos.path(digest), digest, type_)


@pages.get("/photos/<digest>/<int:size>")
def small(digest: str, size: int) -> Response:
    """A small copy of a photo."""
    try:
        return _shut_in(current_base().small.get(digest, size), f"{digest}-{size}", "image/jpeg")
    except PhotoError:
        abort(404)


def _shut_in(path: Path, name: str, type_: str) -> Response:
    """A picture that can do nothing but be looked at; its bytes never change, so that no browser need ask for it twice."""
    file = f"{name}.{_ENDINGS[type_]}"
    response = send_file(path.absolute(), mimetype=type_, download_name=file, etag=name, max_age=_YEAR_SECONDS)
    response.headers["Content-Disposition"] = f'inline; filename="{file}"'
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.cache_control.private, response.cache_control.public, response.cache_control.immutable = True, False, True
    return response
