"""The one way to write a value as bytes, so that its SHA-256 is the same on every machine.

RFC 8785 (JSON Canonicalization Scheme) over a narrowed I-JSON (RFC 7493): objects, arrays, strings, true, false, null and
integers within ±(2^53 - 1); keys `[a-z][a-z0-9_]*`, none twice; depth at most 8. Numbers with a fraction travel as strings,
as typed: "12.5" keeps the precision that was read, and 1e-7 is where Python and JavaScript part. Within this profile Python's
sorted `json.dumps` and a browser's sorted `JSON.stringify` give the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from typing import Any, NoReturn

from fieldkit.ledger.errors import EntryError

MAX_DEPTH = 8
MAX_INTEGER = 2**53 - 1  # the largest integer that a double, and so JavaScript, holds exactly
_KEY = re.compile(r"[a-z][a-z0-9_]*")
_DUMP = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode


def canonical(value: Any) -> bytes:
    """The canonical bytes of a value.

    Raises:
        EntryError: the value holds something outside the profile.
    """
    _check(value, 1)
    try:
        return _DUMP(value).encode("utf-8")
    except UnicodeEncodeError as error:
        raise EntryError.of("ledger.lone_surrogate", position=error.start) from error


def parse(body: bytes) -> Any:
    """The value that canonical bytes stand for; `canonical(parse(b)) == b`.

    Raises:
        EntryError: not JSON, outside the profile, or JSON in another than its canonical form (names the first byte that differs).
    """
    try:
        value = json.loads(
            body.decode("utf-8"), object_pairs_hook=_unique, parse_float=_no_fraction, parse_constant=_no_fraction
        )
    except UnicodeDecodeError as error:
        raise EntryError.of("ledger.not_utf8", position=error.start) from error
    except json.JSONDecodeError as error:
        raise EntryError.of("ledger.not_json", position=error.pos) from error
    except RecursionError as error:
        raise EntryError.of("ledger.too_deep", depth=MAX_DEPTH) from error
    again = canonical(value)
    if again != body:
        raise EntryError.of("ledger.not_canonical", position=_first_difference(again, body))
    return value


def sha256(body: bytes) -> str:
    """A digest as it is written everywhere: lower-case hex, 64 characters."""
    return hashlib.sha256(body).hexdigest()


def _check(value: Any, depth: int) -> None:
    if value is None or isinstance(value, (str, bool)):
        return
    if isinstance(value, int):
        if abs(value) > MAX_INTEGER:
            raise EntryError.of("ledger.integer_too_large", value=str(value)[:40])
        return
    if depth > MAX_DEPTH:
        raise EntryError.of("ledger.too_deep", depth=MAX_DEPTH)
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not (isinstance(key, str) and _KEY.fullmatch(key)):
                raise EntryError.of("ledger.bad_key", name=str(key)[:40])
            _check(inner, depth + 1)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            _check(inner, depth + 1)
    else:
        raise EntryError.of("ledger.not_in_profile", value=repr(value)[:40])


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):  # json.loads alone would keep the last of two equal keys
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise EntryError.of("ledger.key_twice", name=twice[:40])
    return found


def _no_fraction(text: str) -> NoReturn:
    raise EntryError.of("ledger.number_with_fraction", value=text[:40])


def _first_difference(one: bytes, other: bytes) -> int:
    return next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
