"""Asking another base, over HTTPS: what is sent and what comes back, and which authority is trusted.

An edge with several fillings: `Https` here, the application itself in tests.
"""

from __future__ import annotations

import json
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import urllib3

from fieldkit.exchange.errors import ExchangeError

API = "/api/v1"
_TIMEOUT = urllib3.Timeout(connect=10, read=60)  # a base that is settling a large hand-in answers late; chosen by us
_MOST_KEPT = 2  # connections for the next request: as many as photos are sent at once
_MOST_ANSWER_BYTES = 80 * 1024 * 1024  # a photo, and what is around it


@dataclass(frozen=True)
class Answer:
    """What came back. Names of headers are in small letters."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def is_good(self) -> bool:
        return 200 <= self.status < 300

    def json(self) -> Any:
        try:
            return json.loads(self.body)
        except ValueError as error:
            raise ExchangeError.of("exchange.no_answer", why="no JSON") from error

    @property
    def detail(self) -> str:
        """The sentence of a problem."""
        try:
            said = json.loads(self.body)
        except ValueError:
            said = None
        return str(said["detail"]) if isinstance(said, dict) and "detail" in said else f"HTTP {self.status}"


class Wire(Protocol):
    """The way to a base. `path` is below `/api/v1/`. Threads may share it."""

    def ask(self, method: str, path: str, *, body: bytes = b"", headers: Mapping[str, str] | None = None) -> Answer:
        """Ask, and wait for the answer.

        Raises:
            ExchangeError: none came; whether what was asked was done is not known.
        """


class Https:
    """The way to a base of which the authority is known.

    Args:
        address: https://host:port.
        authority: its certificate, PEM: nobody else is trusted.
        token: from pairing.
    """

    def __init__(self, address: str, *, authority: str, token: str | None = None) -> None:
        self.address = address.rstrip("/")
        self._token = token
        context = ssl.create_default_context(cadata=authority)
        # The other base is known by its authority, not by its name: a laptop has another one on every network.
        context.check_hostname = False
        self._pool = urllib3.PoolManager(
            maxsize=_MOST_KEPT, ssl_context=context, timeout=_TIMEOUT, retries=False, assert_hostname=False
        )

    def ask(self, method: str, path: str, *, body: bytes = b"", headers: Mapping[str, str] | None = None) -> Answer:
        said = {**(headers or {}), **({"Authorization": f"Bearer {self._token}"} if self._token else {})}
        address = f"{self.address}{API}/{path}"
        try:
            answer = self._pool.request(method, address, body=body, headers=said, redirect=False, preload_content=False)
            with answer:
                read = answer.read(_MOST_ANSWER_BYTES + 1)
        except urllib3.exceptions.SSLError as error:
            raise ExchangeError.of("exchange.other_authority", address=self.address, why=str(error)) from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise ExchangeError.of("exchange.no_way", address=self.address, why=str(error)) from error
        if len(read) > _MOST_ANSWER_BYTES:
            raise ExchangeError.of("exchange.no_answer", why="> 80 MiB")
        return Answer(answer.status, {name.lower(): value for name, value in answer.headers.items()}, read)

    def close(self) -> None:
        self._pool.clear()


def asked(wire: Wire, method: str, path: str, said: Any = None) -> Any:
    """Ask for JSON with JSON.

    Raises:
        ExchangeError: no answer, or one that tells of a problem.
    """
    body = b"" if said is None else json.dumps(said).encode("utf-8")
    answer = wire.ask(method, path, body=body, headers={"Content-Type": "application/json"} if body else {})
    if not answer.is_good:
        raise refusal(answer)
    return answer.json()


def refusal(answer: Answer) -> ExchangeError:
    """An answer that tells of a problem, as an error."""
    return ExchangeError.of("exchange.refused", status=answer.status, why=answer.detail)
