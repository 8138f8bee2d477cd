"""Secrets that only the other side holds: made here, given away once, kept as a digest."""

from __future__ import annotations

import hashlib
import secrets

_BYTES = 32  # 256 bits: nobody finds one by trying, so a plain digest of it is enough


def new_token() -> str:
    return secrets.token_urlsafe(_BYTES)


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
