"""The base's own certificate authority: made once, installed once on each phone, never replaced.

A browser lets a page work offline only if it came over TLS from somebody whom the device trusts. No public authority
vouches for a laptop on a boat, so the base vouches for itself. Whoever installs its certificate trusts it for addresses of
this computer and of private networks, and for names that end in `.local`, alone (name constraints, RFC 5280 section
4.2.1.10): with it nobody can pretend to be a site of the internet.

    DIR/authority/authority.crt    what devices install
    DIR/authority/authority.key    never leaves this folder but in a backup. Lost: every phone must be visited again
"""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from fieldkit.durable import force_folder, whole_file
from fieldkit.server.errors import ServerError

CERTIFICATE, KEY = "authority.crt", "authority.key"
NAMES = ("local", "localhost")
NETWORKS = (
    "10.0.0.0/8",  # RFC 1918
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",  # RFC 3927
    "127.0.0.0/8",
    "fc00::/7",  # RFC 4193
    "fe80::/10",  # RFC 4291
    "::1/128",
)
_YEARS = 10
_LEAF_DAYS = 30  # made anew whenever it is asked for; Apple takes at most 825 days (support.apple.com/103769)
_SLOW_CLOCK = timedelta(days=2)  # a phone's clock may lag behind; chosen by us


def may_vouch_for(address: str) -> bool:
    """Whether an IP address lies in one of the networks that the authority is limited to."""
    ip = ipaddress.ip_address(address)
    return any(ip in ipaddress.ip_network(network) for network in NETWORKS)


class Authority:
    """The authority of one base. Immutable; safe in many threads."""

    def __init__(self, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> None:
        self.certificate = certificate
        self._key = key

    @classmethod
    def of(cls, folder: Path, called: str) -> Authority:
        """The authority in a base's folder; made where there is none yet.

        Args:
            called: the programme's name: by it people find the certificate among others on their phone.

        Raises:
            ServerError: it is there and cannot be read, or only half of it is. It is not replaced: phones trust this one.
        """
        place = folder / "authority"
        try:
            if not place.exists():
                _make(place, called)
            certificate = x509.load_pem_x509_certificate((place / CERTIFICATE).read_bytes())
            key = serialization.load_pem_private_key((place / KEY).read_bytes(), password=None)
        except (OSError, ValueError, TypeError) as error:
            raise ServerError.of("reach.no_authority", folder=str(place), why=str(error)) from error
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
            raise ServerError.of("reach.other_key", folder=str(place))
        return cls(certificate, key)

    @property
    def as_pem(self) -> bytes:
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    @property
    def as_der(self) -> bytes:
        """What phones install."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 as phones show it: AB:CD:…"""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    def vouch(self, key: ec.EllipticCurvePublicKey, names: Sequence[str], address: str) -> bytes:
        """A certificate (PEM) for whoever is asked for under one of these names or this IP address.

        An address that lies outside what devices trust the authority with is left out: with it in, they would refuse the
        names too.
        """
        now = datetime.now(UTC)
        alternatives: list[x509.GeneralName] = [*map(x509.DNSName, names)]
        if may_vouch_for(address):
            alternatives.append(x509.IPAddress(ipaddress.ip_address(address)))
        made = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0])]))
            .issuer_name(self.certificate.subject)
            .public_key(key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(max(now - _SLOW_CLOCK, self.certificate.not_valid_before_utc))
            .not_valid_after(now + timedelta(days=_LEAF_DAYS))
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(_usage(digital_signature=True), critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
            .add_extension(_issued_by(self._key), critical=False)
            .sign(self._key, hashes.SHA256())
        )
        return made.public_bytes(serialization.Encoding.PEM)


def _make(place: Path, called: str) -> None:
    """The folder appears whole, with both files in it, or not at all."""
    key = ec.generate_private_key(ec.SECP256R1())
    made = Path(mkdtemp(prefix=".authority-", dir=place.parent))
    try:
        for name, body in ((KEY, pem_of(key)), (CERTIFICATE, _certificate(key, called))):
            with whole_file(made / name, made / f"{name}.part") as file:
                Path(file.name).chmod(0o600)
                file.write(body)
        with suppress(FileExistsError):  # another process was quicker: its authority it is
            made.rename(place)
            force_folder(place.parent)
    finally:
        rmtree(made, ignore_errors=True)


def pem_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())


def _certificate(key: ec.EllipticCurvePrivateKey, called: str) -> bytes:
    now = datetime.now(UTC)
    # iOS lists an authority among those to be trusted fully only if it has a common name.
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"fieldkit: {called}"[:64])])
    permitted = [*map(x509.DNSName, NAMES), *(x509.IPAddress(ipaddress.ip_network(network)) for network in NETWORKS)]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _SLOW_CLOCK)
        .not_valid_after(now + timedelta(days=365 * _YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return made.public_bytes(serialization.Encoding.PEM)


def _issued_by(key: ec.EllipticCurvePrivateKey) -> x509.AuthorityKeyIdentifier:
    return x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key())


def _usage(*, digital_signature: bool = False, key_cert_sign: bool = False, crl_sign: bool = False) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=digital_signature,
        key_cert_sign=key_cert_sign,
        crl_sign=crl_sign,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )
