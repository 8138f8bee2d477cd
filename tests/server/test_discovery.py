"""The base is found by its name, by a second, independent asker on loopback; where a name is taken, it takes a longer one."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

import pytest
from zeroconf import AddressResolverIPv4, Zeroconf

from fieldkit.server import discovery
from fieldkit.server.discovery import SERVICE, Announcer, lasting_name

T = TypeVar("T")


@dataclass(frozen=True)
class Known:
    base: str
    port: int = 8443


@contextmanager
def announced(base: str, addresses: Callable[[], list[str]] = lambda: ["127.0.0.1"]) -> Iterator[Announcer]:
    announcer = Announcer(Known(base), addresses)
    announcer.start()
    try:
        assert announcer.heard.wait(20)
        yield announcer
    finally:
        announcer.stop()
        announcer.join(20)


def asked(question: Callable[[Zeroconf], T]) -> T:
    """Ask as another device on the network would. In a thread of its own: where a browser's driver left its event loop in this
    one, zeroconf refuses to wait here."""

    def ask() -> T:
        asker = Zeroconf(interfaces=["127.0.0.1"])
        try:
            return question(asker)
        finally:
            asker.close()

    with ThreadPoolExecutor(1) as elsewhere:
        return elsewhere.submit(ask).result()


def addresses_of(host: str) -> list[str]:
    def resolved(asker: Zeroconf) -> list[str]:
        resolver = AddressResolverIPv4(f"{host}.")
        return sorted(resolver.parsed_addresses()) if resolver.request(asker, 5_000) else []

    return asked(resolved)


def test_whoever_asks_for_the_name_is_told_the_address() -> None:
    with announced("base-one") as announcer:
        assert addresses_of(announcer.host) == ["127.0.0.1"]


def test_the_service_names_port_and_base() -> None:
    with announced("base-one") as announcer:
        name = f"{announcer.host.removesuffix('.local')}.{SERVICE}"
        found = asked(lambda asker: asker.get_service_info(SERVICE, name, timeout=5_000))
    assert found and (found.port, found.properties[b"base"]) == (8443, b"base-one")


def test_another_address_is_told_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(discovery, "_LOOK_SECONDS", 0.2)
    now = ["127.0.0.1"]
    with announced("base-one", lambda: list(now)) as announcer:
        now.append("127.0.0.2")
        until = time.monotonic() + 30
        while (found := addresses_of(announcer.host)) != now and time.monotonic() < until:
            time.sleep(0.5)
    assert found == now


def test_a_base_whose_name_is_taken_takes_a_longer_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(discovery, "lasting_name", lambda base, letters=4: "fieldkit-same" + (base if letters > 4 else ""))
    with announced("one") as first:
        time.sleep(1.1)  # what was told within a second is not told again (RFC 6762 section 6)
        with announced("two") as second:
            assert (first.host, second.host) == ("fieldkit-same.local", "fieldkit-sametwo.local")


def test_a_computer_without_a_network_waits_for_one() -> None:
    with announced("base-one", list) as announcer:
        assert (announcer.trouble, announcer.is_alive()) == ("", True)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # zeroconf leaves its socket to the collector
def test_an_address_that_nobody_can_speak_from_is_told_as_trouble() -> None:
    with announced("base-one", lambda: ["203.0.113.7"]) as announcer:
        assert announcer.trouble and announcer.is_alive()


def test_the_name_is_the_same_for_ever() -> None:
    """Phones keep their notes under it: were it reckoned otherwise tomorrow, they would be lost to them."""
    assert lasting_name("0191af9a-2300-7000-8000-00000000000b") == "fieldkit-18fm"
