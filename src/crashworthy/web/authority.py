"""A small certificate authority of one's own, so that phones in the local network get trusted https.

A browser lets a page work without a network only on a trusted origin, and no public authority signs a name in
a local network. So the laptop makes an authority once, the phone is told to trust it once, and every later
certificate comes from it. What a stolen key could do is bounded: the authority is constrained to private
addresses and local names (RFC 5280, 4.2.1.10), and its key stays in the data folder, for its owner only.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crashworthy.errors import Problem, StoreError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.x509 import Certificate, GeneralName

__all__ = ["LEAF_LASTS", "PRIVATE", "Authority", "lan_addresses"]

PRIVATE: Final = (
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "127.0.0.0/8",
    "fc00::/7",
)
"""Networks the authority may sign for (RFC 1918, RFC 3927, RFC 4193, loopback)."""

LOCAL_NAMES: Final = ("local", "lan", "home.arpa", "localhost", "test")
"""Name endings the authority may sign for (RFC 6762, RFC 8375, RFC 2606; "lan" by common use)."""

AUTHORITY_LASTS: Final = timedelta(days=3650)
LEAF_LASTS: Final = timedelta(days=180)
"""Shorter than what phones accept of a private authority (825 days, from memory)."""


def lan_addresses() -> tuple[str, ...]:
    """Private addresses of this machine, the one it would use first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # chooses a route; nothing is sent (RFC 5737)
        found.append(probe.getsockname()[0])
    with suppress(OSError):
        found += [str(row[4][0]) for row in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    private = (a for a in dict.fromkeys(found) if ipaddress.ip_address(a).is_private)
    return tuple(a for a in private if not ipaddress.ip_address(a).is_loopback)


class Authority:
    """The authority in a folder, made when it is not there."""

    def __init__(self, folder: Path, now: datetime | None = None) -> None:
        """Load or make it.

        Args:
            folder: made when absent, readable by its owner only.
            now: the time; the machine's if None.

        Raises:
            StoreError: the folder cannot be used.
        """
        self.folder = folder
        self.now = now or datetime.now(UTC)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            folder.chmod(0o700)
            if not (self.file.is_file() and self._key_file.is_file()):
                self._make()
        except OSError as problem:
            what = f"the authority's folder cannot be used: {problem.strerror}"
            raise StoreError(Problem(what, "give yourself the right to write there", str(folder))) from None

    @property
    def file(self) -> Path:
        """Its certificate (PEM): what a phone is told to trust."""
        return self.folder / "authority.pem"

    @property
    def _key_file(self) -> Path:
        return self.folder / "authority.key"

    def der(self) -> bytes:
        """Its certificate as phones take it (DER)."""
        from cryptography.hazmat.primitives.serialization import Encoding

        return self._certificate().public_bytes(Encoding.DER)

    def fingerprint(self) -> str:
        """SHA-256 of the certificate, to compare by eye."""
        from cryptography.hazmat.primitives.hashes import SHA256

        return ":".join(f"{b:02X}" for b in self._certificate().fingerprint(SHA256()))

    def leaf(self, names: Sequence[str]) -> tuple[Path, Path]:
        """Files of a certificate for these names and addresses, and of its key; made anew when it must be.

        Raises:
            StoreError: a name is not a private address or local name.
        """
        from cryptography import x509

        asked = [_general_name(n) for n in names]
        chain, key = self.folder / "server.pem", self.folder / "server.key"
        if chain.is_file() and key.is_file():
            old = x509.load_pem_x509_certificate(chain.read_bytes())
            held = old.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
            fresh = old.not_valid_after_utc - self.now > LEAF_LASTS / 4
            if fresh and set(held) == set(asked) and old.issuer == self._certificate().subject:
                return chain, key
        self._sign(asked, chain, key)
        return chain, key

    def _certificate(self) -> Certificate:
        from cryptography import x509

        return x509.load_pem_x509_certificate(self.file.read_bytes())

    def _make(self) -> None:
        from cryptography import x509
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.x509.oid import NameOID

        key = ec.generate_private_key(ec.SECP256R1())
        host = socket.gethostname()[:40]
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Crashworthy on {host}")])
        allowed: list[GeneralName] = [x509.IPAddress(ipaddress.ip_network(n)) for n in PRIVATE]
        allowed += [x509.DNSName(n) for n in LOCAL_NAMES]
        usage = x509.KeyUsage(
            digital_signature=False,
            content_commitment=False,
            key_encipherment=False,
            data_encipherment=False,
            key_agreement=False,
            key_cert_sign=True,
            crl_sign=True,
            encipher_only=False,
            decipher_only=False,
        )
        made = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(self.now - timedelta(days=1))
            .not_valid_after(self.now + AUTHORITY_LASTS)
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(usage, critical=True)
            .add_extension(x509.NameConstraints(allowed, None), critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .sign(key, SHA256())
        )
        _write_key(self._key_file, key)
        _write_certificates(self.file, made)

    def _sign(self, asked: Sequence[GeneralName], chain: Path, key_file: Path) -> None:
        from cryptography import x509
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.hazmat.primitives.serialization import load_pem_private_key
        from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

        authority = self._certificate()
        signer = load_pem_private_key(self._key_file.read_bytes(), None)
        assert isinstance(signer, ec.EllipticCurvePrivateKey)  # noqa: S101 - _make made it so
        key = ec.generate_private_key(ec.SECP256R1())
        # No host in the common name: some verifiers hold it to the constraints for DNS names.
        made = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Crashworthy server")]))
            .issuer_name(authority.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(self.now - timedelta(days=1))
            .not_valid_after(self.now + LEAF_LASTS)
            .add_extension(x509.SubjectAlternativeName(asked), critical=False)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
            )
            .sign(signer, SHA256())
        )
        _write_key(key_file, key)
        _write_certificates(chain, made, authority)


def _general_name(name: str) -> GeneralName:
    """An address or a name as certificates write it.

    Raises:
        StoreError: the authority may not sign for it.
    """
    from cryptography import x509

    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        plain = name.lower().rstrip(".")
        if plain.rpartition(".")[2] in LOCAL_NAMES or plain.endswith(".home.arpa"):
            return x509.DNSName(plain)
    else:
        if any(address in ipaddress.ip_network(n) for n in PRIVATE):
            return x509.IPAddress(address)
    what = f"the local authority does not sign for {name!r}"
    remedy = "use a private address or a name in .local, or a public certificate for public names"
    raise StoreError(Problem(what, remedy, field="--name"))


def _write_key(path: Path, key: EllipticCurvePrivateKey) -> None:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    data = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)


def _write_certificates(path: Path, *certificates: Certificate) -> None:
    from cryptography.hazmat.primitives.serialization import Encoding

    path.write_bytes(b"".join(c.public_bytes(Encoding.PEM) for c in certificates))
