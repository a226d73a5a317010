"""
The shop's own certificate authority, for the local network. Knows no Django.

A browser gives a page the camera, and keeps it for use without a network, over https only. No
public authority signs for an address of a local network, so the shop has one of its own. Its key
is readable by its owner alone and signs for private addresses and this computer's names only:
whoever stole it could not pretend to be any other site.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

AUTHORITY_YEARS = 10
SERVER_DAYS = 397
"""No longer, or common browsers refuse it (CA/Browser Forum's limit of 398 days)."""
RENEWED_DAYS = 30
"""How long before its end a server's certificate is renewed."""
PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8")
"""RFC 1918, RFC 3927 and the loopback."""
NAMES = ("localhost", "local")


@dataclass(frozen=True)
class Served:
    """Files of a server's certificate and key, the authority's certificate and its fingerprint."""

    certificate: Path
    key: Path
    authority: Path
    fingerprint: str
    """SHA-256 of the authority's certificate, pairs with colons."""


def addresses() -> list[str]:
    """Return this computer's addresses in private networks, the usual one first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: the system only says from which address it would be (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            found.append(probe.getsockname()[0])
        except OSError:
            pass
    try:
        rows = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        rows = []
    found += [str(row[4][0]) for row in rows]
    return [at for at in dict.fromkeys(found) if is_private(at) and not at.startswith("127.")]


def is_private(address: str) -> bool:
    """Tell whether the authority may sign for an address."""
    at = ipaddress.ip_address(address)
    return any(at in ipaddress.ip_network(net) for net in PRIVATE)


def hosts() -> list[str]:
    """Return the names under which this computer may be reached on its network."""
    name = socket.gethostname().split(".")[0].lower()
    return ["localhost", f"{name}.local"]


def served(folder: Path, at: Sequence[str], names: Sequence[str], now: datetime) -> Served:
    """
    Return a certificate for some addresses and names, signed by the shop's authority.

    Both are made where they are missing; the server's is made anew when it lacks an address or
    soon ends.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.chmod(0o700)
    authority, authority_key = _authority(folder, now)
    path, key_path = folder / "server.pem", folder / "server.key"
    wanted = {*at, "127.0.0.1", *names}
    if not _still_good(path, key_path, wanted, authority, now):
        _sign(path, key_path, sorted(wanted), authority, authority_key, now)
    from cryptography.hazmat.primitives import hashes

    marks = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Served(path, key_path, folder / "authority.crt", marks)


def _authority(folder: Path, now: datetime) -> tuple[Any, Any]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    path, key_path = folder / "authority.crt", folder / "authority.key"
    if path.exists() and key_path.exists():
        found = x509.load_pem_x509_certificate(path.read_bytes())
        key: Any = serialization.load_pem_private_key(key_path.read_bytes(), None)
        if found.not_valid_after_utc > now + timedelta(days=SERVER_DAYS):
            return found, key
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name(
        [x509.NameAttribute(x509.NameOID.COMMON_NAME, "Casting shop's own authority")]
    )
    permitted: list[Any] = [x509.IPAddress(ipaddress.ip_network(net)) for net in PRIVATE]
    permitted += [x509.DNSName(one) for one in NAMES]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=365 * AUTHORITY_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_secret(key_path, _pem(key))
    path.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made, key


def _sign(
    path: Path, key_path: Path, wanted: Sequence[str], authority: Any, signer: Any, now: datetime
) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Casting shop")]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=SERVER_DAYS - 1))
        .add_extension(x509.SubjectAlternativeName([_name(one) for one in wanted]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(
            x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False
        )
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
        )
        .sign(signer, hashes.SHA256())
    )
    _write_secret(key_path, _pem(key))
    path.write_bytes(made.public_bytes(serialization.Encoding.PEM))


def _still_good(path: Path, key: Path, wanted: set[str], authority: Any, now: datetime) -> bool:
    from cryptography import x509

    if not (path.exists() and key.exists()):
        return False
    found = x509.load_pem_x509_certificate(path.read_bytes())
    named = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    held = {str(one.value) for one in named}
    try:
        found.verify_directly_issued_by(authority)
    except Exception:
        return False
    lasts = found.not_valid_after_utc > now + timedelta(days=RENEWED_DAYS)
    return lasts and wanted <= held


def _name(text: str) -> Any:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(text))
    except ValueError:
        return x509.DNSName(text)


def _usage(*, signs: bool) -> Any:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs, key_cert_sign=signs, crl_sign=signs,
        content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _pem(key: Any) -> bytes:
    from cryptography.hazmat.primitives import serialization

    return bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )


def _write_secret(path: Path, data: bytes) -> None:
    """Write a file that nobody else may read, not even for a moment."""
    fresh = path.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
    fresh.replace(path)


def moment() -> datetime:
    """Return the present moment for certificates, which need no site's clock."""
    return datetime.now(UTC)
