"""The base's authority: made once, good for near addresses alone, and never replaced. OpenSSL is the witness."""

from __future__ import annotations

import hashlib
import ssl
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from fieldkit.server import ServerError
from fieldkit.server import authority as authority_module
from fieldkit.server.authority import CERTIFICATE, KEY, Authority, may_vouch_for, pem_of

OWN = ("fieldkit-ab12.local", "localhost")


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority.of(tmp_path, "Amo Reef Nursery")


@pytest.fixture
def vouched(authority: Authority, tmp_path: Path) -> Callable[..., ssl.SSLContext]:
    """A server's context, with a certificate for these names and this address."""
    key = ec.generate_private_key(ec.SECP256R1())

    def made(names: tuple[str, ...] = OWN, address: str = "192.168.8.2") -> ssl.SSLContext:
        both = tmp_path / "both.pem"
        both.write_bytes(pem_of(key) + authority.vouch(key.public_key(), names, address))
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(both)
        return context

    return made


def shake(authority: Authority, server: ssl.SSLContext, called: str) -> None:
    """A handshake in memory, by a client that trusts this authority alone and asks for this name or address."""
    trusting = ssl.create_default_context(cadata=authority.as_pem.decode())
    there, here = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = trusting.wrap_bio(here, there, server_hostname=called)
    serving = server.wrap_bio(there, here, server_side=True)
    for _ in range(4):
        for side in (client, serving):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue


@pytest.mark.parametrize("called", [*OWN, "192.168.8.2"])
def test_whoever_trusts_it_believes_the_base_by_each_of_its_names(
    authority: Authority, vouched: Callable[..., ssl.SSLContext], called: str
) -> None:
    shake(authority, vouched(), called)


@pytest.mark.parametrize("called", ["fieldkit-other.local", "192.168.8.3"])
def test_a_certificate_is_good_for_its_own_names_alone(
    authority: Authority, vouched: Callable[..., ssl.SSLContext], called: str
) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match=r"(?i)mismatch"):
        shake(authority, vouched(), called)


def test_with_its_key_nobody_can_pose_as_a_site_of_the_internet(
    authority: Authority, vouched: Callable[..., ssl.SSLContext]
) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shake(authority, vouched(("bank.example",)), "bank.example")


def test_nor_as_an_address_of_the_internet(
    authority: Authority, vouched: Callable[..., ssl.SSLContext], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(authority_module, "may_vouch_for", lambda address: True)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shake(authority, vouched(address="8.8.8.8"), "8.8.8.8")


def test_the_name_is_believed_even_at_an_address_that_the_authority_is_not_good_for(
    authority: Authority, vouched: Callable[..., ssl.SSLContext]
) -> None:
    shake(authority, vouched(address="203.0.113.7"), OWN[0])


@pytest.mark.parametrize(
    ("address", "is_near"),
    [
        ("10.0.0.1", True),
        ("172.16.0.1", True),
        ("172.32.0.1", False),
        ("192.168.137.1", True),
        ("169.254.1.1", True),
        ("127.0.0.3", True),
        ("8.8.8.8", False),
        ("fe80::1", True),
        ("2001:db8::1", False),
    ],
)
def test_private_networks_are_those_of_the_standards(address: str, is_near: bool) -> None:
    """RFC 1918, 3927, 4193 and 4291."""
    assert may_vouch_for(address) == is_near


def test_it_is_made_once(authority: Authority, tmp_path: Path) -> None:
    assert Authority.of(tmp_path, "Another name").fingerprint == authority.fingerprint


@pytest.mark.parametrize("lost", [CERTIFICATE, KEY])
def test_what_is_left_of_it_is_not_replaced(authority: Authority, tmp_path: Path, lost: str) -> None:
    (tmp_path / "authority" / lost).unlink()
    with pytest.raises(ServerError, match="not replaced"):
        Authority.of(tmp_path, "Amo Reef Nursery")
    assert len(list((tmp_path / "authority").iterdir())) == 1


def test_a_key_of_another_authority_is_noticed(authority: Authority, tmp_path: Path) -> None:
    (tmp_path / "authority" / KEY).write_bytes(pem_of(ec.generate_private_key(ec.SECP256R1())))
    with pytest.raises(ServerError, match="do not belong together"):
        Authority.of(tmp_path, "Amo Reef Nursery")


def test_its_key_is_for_nobody_else_to_read(authority: Authority, tmp_path: Path) -> None:
    folder = tmp_path / "authority"
    assert [oct(path.stat().st_mode & 0o777) for path in (folder, folder / KEY)] == ["0o700", "0o600"]


def test_nothing_is_left_beside_it(authority: Authority, tmp_path: Path) -> None:
    assert [path.name for path in tmp_path.iterdir()] == ["authority"]


def test_a_phone_can_list_it_by_the_programmes_name(authority: Authority) -> None:
    (name,) = authority.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    assert name.value == "fieldkit: Amo Reef Nursery"


def test_what_it_vouches_for_is_what_apple_asks_of_certificates(authority: Authority) -> None:
    """At most 825 days, names under subjectAltName, for servers alone, SHA-2 (support.apple.com/103769)."""
    key = ec.generate_private_key(ec.SECP256R1())
    leaf = x509.load_pem_x509_certificate(authority.vouch(key.public_key(), OWN, "192.168.8.2"))
    usage = leaf.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert (leaf.not_valid_after_utc - leaf.not_valid_before_utc).days <= 825
    assert leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value.get_values_for_type(x509.DNSName) == [
        *OWN
    ]
    assert ExtendedKeyUsageOID.SERVER_AUTH in usage and leaf.signature_hash_algorithm
    assert leaf.signature_hash_algorithm.name == "sha256"


def test_the_fingerprint_is_the_digest_that_phones_show(authority: Authority) -> None:
    assert authority.fingerprint.replace(":", "").lower() == hashlib.sha256(authority.as_der).hexdigest()
