"""`fieldkit merge https://…`: another base is paired by a code, known again by its authority, and trusted for nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.exchange import known_bases
from fieldkit.server.authority import Authority
from tests.base.world import digest
from tests.cli.terminal import typed
from tests.exchange.devices import held
from tests.faults.harness import Server
from tests.support.programme import Book, Reef, base_of


@pytest.fixture
def here(tmp_path: Path) -> Base:
    reef = Reef()
    return base_of(tmp_path / "here", reef.entries(), [reef.protocol])


@pytest.fixture
def there(tmp_path: Path) -> Base:
    base = base_of(tmp_path / "there", Book("there", day="2024-06-01").entries)
    Authority.of(base.folder, base.programme_name)
    return base


@pytest.fixture
def address(there: Base) -> Iterator[str]:
    server = Server(there)
    yield f"https://127.0.0.1:{server.port}"
    server.close()


def code_of(base: Base, role: str = "base") -> str:
    return Access(base.folder).devices.invite(role)


def fingerprint_of(base: Base) -> str:
    return Authority.of(base.folder, base.programme_name).fingerprint


def test_a_base_that_is_paired_by_its_code_and_fingerprint_exchanges_everything(here: Base, there: Base, address: str) -> None:
    told = typed(here.folder, "merge", address, "--code", code_of(there), "--fingerprint", fingerprint_of(there))
    assert (told.code, held(here), digest(here)) == (0, held(there), digest(there)), told.out + told.err
    there.receive(Book("later", day="2024-06-02").entries, source="test")
    again = typed(here.folder, "merge", address)  # it is known by now
    assert (again.code, held(here)) == (0, held(there)), again.out + again.err


def test_another_fingerprint_than_the_one_on_its_page_is_refused_before_the_code_is_said(
    here: Base, there: Base, address: str
) -> None:
    code = code_of(there)
    told = typed(here.folder, "merge", address, "--code", code, "--fingerprint", "AB:" * 31 + "AB")
    assert told.code == 1 and "another fingerprint" in told.out and known_bases(here.folder) == []
    assert Access(there.folder).devices.pair(code, "the code is still good", "")


def test_a_base_that_is_not_paired_is_asked_for_a_code(here: Base, address: str) -> None:
    told = typed(here.folder, "merge", address)
    assert told.code == 1 and "not paired with this base yet" in told.out


def test_a_code_that_was_made_for_a_phone_pairs_no_base(here: Base, there: Base, address: str) -> None:
    told = typed(here.folder, "merge", address, "--code", code_of(there, "crew"), "--fingerprint", fingerprint_of(there))
    assert told.code == 1 and "“crew”" in told.out and known_bases(here.folder) == []


def test_whoever_shows_the_authority_of_a_known_base_without_its_key_gets_no_token(
    here: Base, there: Base, address: str, tmp_path: Path
) -> None:
    typed(here.folder, "merge", address, "--code", code_of(there), "--fingerprint", fingerprint_of(there))
    stranger = base_of(tmp_path / "stranger")
    Authority.of(stranger.folder, stranger.programme_name)
    server = Server(stranger)  # has loaded its own authority; from now on it shows the other's certificate
    try:
        certificate = stranger.folder / "authority" / "authority.crt"
        certificate.write_bytes((there.folder / "authority" / "authority.crt").read_bytes())
        told = typed(here.folder, "merge", f"https://127.0.0.1:{server.port}")
    finally:
        server.close()
    assert told.code == 1 and "is not the base that was paired" in told.out
