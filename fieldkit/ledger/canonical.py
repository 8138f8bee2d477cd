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
from collections.abc import Collection
from functools import lru_cache
from itertools import pairwise
from typing import Any, NoReturn

from fieldkit.ledger.errors import EntryError

MAX_DEPTH = 8
MAX_INTEGER = 2**53 - 1  # the largest integer that a double, and so JavaScript, holds exactly
_INTEGER_DIGITS = len(str(-MAX_INTEGER))
_KEY = re.compile(r"[a-z][a-z0-9_]*")
_NOT_PLAIN = re.compile(rb"[ \t\r\n]|-0|[0-9]{16}")  # 15 digits are below MAX_INTEGER
_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def canonical(value: Any) -> bytes:
    """The canonical bytes of a value: dicts, lists, tuples, texts, whole numbers, true, false and None.

    Raises:
        EntryError: the value holds something outside the profile.
    """
    _check(value, 1)
    return _dump(value)


def parse(body: bytes) -> Any:
    """The value that canonical bytes stand for; `canonical(parse(b)) == b`.

    Raises:
        EntryError: not JSON, outside the profile, or JSON in another than its canonical form (names the first byte that
            differs).
    """
    try:
        text = body.decode("utf-8")
        if (plain := _plain(body, text)) is not None:
            return plain
        value, end = _DECODER.raw_decode(text)
    except UnicodeDecodeError as error:
        raise EntryError.of("ledger.not_utf8", position=error.start) from error
    except json.JSONDecodeError as error:
        raise EntryError.of("ledger.not_json", position=error.pos) from error
    except RecursionError as error:
        raise EntryError.of("ledger.too_deep", depth=MAX_DEPTH) from error
    if end != len(text):
        raise EntryError.of("ledger.not_json", position=end)
    if body.count(b"{") + body.count(b"[") > MAX_DEPTH:  # fewer brackets cannot be too deep; the decoder saw to all else
        _check(value, 1)
    if (again := _dump(value)) != body:
        raise EntryError.of("ledger.not_canonical", position=_first_difference(again, body))
    return value


def sha256(body: bytes) -> str:
    """A digest as it is written everywhere: lower-case hex, 64 characters."""
    return hashlib.sha256(body).hexdigest()


def _dump(value: Any) -> bytes:
    try:
        return _ENCODER.encode(value).encode("utf-8")
    except UnicodeEncodeError as error:
        raise EntryError.of("ledger.lone_surrogate", position=error.start) from error


def _plain(body: bytes, text: str) -> dict[str, Any] | None:
    """The object that bytes stand for, if they are plainly canonical, as nearly all entries are; None: look closely.

    Plainly: no escapes, no blanks between parts, no number that is long or has another form (each whole number has one, but for
    -0), few brackets, and keys in order. To decode without a look at every object and to write nothing out again takes half the
    time. The decoder keeps the last of two equal keys: then there are fewer of them than colons.
    """
    between = b"".join(body.split(b'"')[::2])  # what stands in no text
    if b"\\" in body or _NOT_PLAIN.search(between) or between.count(b"{") + between.count(b"[") > MAX_DEPTH:
        return None
    try:
        value, end = _QUICK.raw_decode(text)
    except ValueError:
        return None
    is_whole = end == len(text) and isinstance(value, dict)
    return value if is_whole and _keys_in_order(value) == between.count(b":") else None


def _keys_in_order(value: Any) -> int:
    """How many keys there are in all objects within a value; none in one whose keys are not in order, or not as they may be."""
    count = 0
    if isinstance(value, dict):
        if not _are_in_order(tuple(value)):
            return 0
        count = len(value)
        value = value.values()
    for inner in value:
        if type(inner) is dict or type(inner) is list:
            count += _keys_in_order(inner)
    return count


def _check(value: Any, depth: int) -> None:
    if isinstance(value, (dict, list, tuple)):
        if depth > MAX_DEPTH:
            raise EntryError.of("ledger.too_deep", depth=MAX_DEPTH)
        if isinstance(value, dict):
            _check_keys(value)
            value = value.values()
        for inner in value:
            _check(inner, depth + 1)
    elif isinstance(value, int):
        if abs(value) > MAX_INTEGER:
            raise EntryError.of("ledger.integer_too_large", value=hex(value)[:40])
    elif not (value is None or isinstance(value, str)):
        raise EntryError.of("ledger.not_in_profile", value=repr(value)[:40])


def _check_keys(keys: Collection[object]) -> None:
    if not all(map(_is_key, keys)):
        bad = next(key for key in keys if not _is_key(key))
        raise EntryError.of("ledger.bad_key", name=str(bad)[:40])


@lru_cache(maxsize=1024)  # a programme has some hundred keys, each entry twenty of them
def _is_key(key: object) -> bool:
    return isinstance(key, str) and _KEY.fullmatch(key) is not None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):  # the decoder alone would keep the last of two equal keys
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise EntryError.of("ledger.key_twice", name=twice[:40])
    _check_keys(found)
    return found


@lru_cache(maxsize=1024)  # entries of one kind have the same keys in the same order
def _are_in_order(keys: tuple[str, ...]) -> bool:
    return all(map(_is_key, keys)) and all(one < other for one, other in pairwise(keys))


def _whole(text: str) -> int:
    # Length first: what int() takes grows with the square of it.
    if len(text) > _INTEGER_DIGITS or abs(number := int(text)) > MAX_INTEGER:
        raise EntryError.of("ledger.integer_too_large", value=text[:40])
    return number


def _no_fraction(text: str) -> NoReturn:
    raise EntryError.of("ledger.number_with_fraction", value=text[:40])


def _not_plain(_text: str) -> NoReturn:
    raise ValueError


def _first_difference(one: bytes, other: bytes) -> int:
    return next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


_DECODER = json.JSONDecoder(object_pairs_hook=_object, parse_int=_whole, parse_float=_no_fraction, parse_constant=_no_fraction)
_QUICK = json.JSONDecoder(parse_float=_not_plain, parse_constant=_not_plain)
