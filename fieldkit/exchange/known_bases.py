"""Other bases that this one was paired with: known again by their authority, whatever address they have today.

DIR/known_bases.json    readable by this account alone: it holds the tokens by which they know us
"""

from __future__ import annotations

import base64
import hashlib
import json
import ssl
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from http.client import HTTPException
from pathlib import Path
from urllib.request import urlopen

from fieldkit.durable import whole_file
from fieldkit.exchange.errors import ExchangeError
from fieldkit.exchange.wire import API, Https, asked

FILE = "known_bases.json"
_SECONDS = 20
_MOST_BYTES = 64 * 1024
_BEGIN, _END = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"


@dataclass(frozen=True)
class KnownBase:
    """Another base. `after` is how far its ledger was fetched: a hint, which may be wrong at any time."""

    base: str
    authority: str
    """Its certificate, PEM."""
    token: str
    after: int = 0

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.authority)


def fingerprint(authority: str) -> str:
    """SHA-256 of a certificate (PEM), as its base shows it: AB:CD:…

    Raises:
        ExchangeError: it is none.
    """
    try:
        body = authority.split(_BEGIN)[1].split(_END)[0]
        return hashlib.sha256(base64.b64decode("".join(body.split()), validate=True)).digest().hex(":").upper()
    except (IndexError, ValueError) as error:
        raise ExchangeError.of("exchange.no_answer", why="no certificate") from error


def known_bases(folder: Path) -> list[KnownBase]:
    """The bases that the one in a folder was paired with."""
    try:
        return [KnownBase(**said) for said in json.loads((folder / FILE).read_text("utf-8"))]
    except FileNotFoundError:
        return []


def keep_known(folder: Path, one: KnownBase) -> None:
    """Remember a base, in place of what was known of it."""
    others = [known for known in known_bases(folder) if known.fingerprint != one.fingerprint]
    with whole_file(folder / FILE, folder / f".{FILE}.part") as file:
        Path(file.name).chmod(0o600)
        file.write(json.dumps([asdict(known) for known in [*others, one]], indent=1).encode("utf-8"))


def reached(
    folder: Path, address: str, *, code: str | None, name: str, is_right: Callable[[str], bool]
) -> tuple[Https, KnownBase]:
    """The way to the base at an address: one that is known, or that is paired now.

    Args:
        code: from the other base, for pairing; None: it must be known.
        name: what this base is to be called there.
        is_right: asked, before anything secret is said, whether a fingerprint is the one that the other base shows.

    Raises:
        ExchangeError: it cannot be reached, is not known, or was not paired.
    """
    authority = _authority_at(address)
    known = next((one for one in known_bases(folder) if one.authority == authority), None)
    if code is not None:
        if not is_right(fingerprint(authority)):
            raise ExchangeError.of("exchange.other_fingerprint", address=address)
        known = _paired(address, authority, code, name)
        keep_known(folder, known)
    if known is None:
        raise ExchangeError.of("exchange.not_known", address=address)
    return Https(address, authority=authority, token=known.token), known


def fetched(folder: Path, known: KnownBase, after: int) -> None:
    """Remember how far its ledger was fetched."""
    keep_known(folder, replace(known, after=after))


def _authority_at(address: str) -> str:
    """What a base shows as its authority. Nothing is believed of it yet, and nothing is told."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    try:
        with urlopen(f"{address.rstrip('/')}{API}/authority", timeout=_SECONDS, context=context) as answer:
            return str(json.loads(answer.read(_MOST_BYTES))["certificate"])
    except (OSError, HTTPException) as error:
        raise ExchangeError.of("exchange.no_way", address=address, why=str(error)) from error
    except (ValueError, KeyError, TypeError) as error:
        raise ExchangeError.of("exchange.no_answer", why="no certificate") from error


def _paired(address: str, authority: str, code: str, name: str) -> KnownBase:
    wire = Https(address, authority=authority)
    try:
        said = asked(wire, "POST", "pair", {"code": code, "name": name})
    finally:
        wire.close()
    if said["role"] != "base":
        raise ExchangeError.of("exchange.code_of_other_role", role=said["role"])
    return KnownBase(said["base"], authority, said["token"])
