"""Reads the practice's certificate, or makes one for this machine."""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from hipwright.domain.errors import HipwrightError

LIFE = timedelta(days=397)
"""Browsers refuse longer ones."""

RENEW_BEFORE = timedelta(days=30)


class CertificateError(HipwrightError):
    """A certificate or its key cannot be used."""

    code = "certificate"


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """A certificate with its key on the disk.

    ``names`` are the hosts and addresses it is good for; ``fingerprint`` is what people
    compare before they trust it.
    """

    certificate: Path
    key: Path
    names: frozenset[str]
    fingerprint: str


def read_certificate(certificate: Path, key: Path, *, now: datetime) -> Certificate:
    """Read a certificate and check that its key fits and that it is in force.

    Raises
    ------
    CertificateError
        One of the files cannot be read, they do not belong together, or the
        certificate is out of date.
    """
    read = _load(certificate)
    try:
        private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as error:
        raise _unusable("a key that cannot be read", "a PEM key without password") from error
    if _public_bytes(private.public_key()) != _public_bytes(read.public_key()):
        raise _unusable("a key of another certificate", "the key that belongs to it")
    if not read.not_valid_before_utc <= now <= read.not_valid_after_utc:
        until = read.not_valid_after_utc.date().isoformat()
        raise _unusable(f"one that is good until {until}", "one that is in force today")
    return Certificate(
        certificate=certificate, key=key, names=_names(read), fingerprint=_fingerprint(read)
    )


def own_certificate(folder: Path, hosts: Iterable[str], *, now: datetime) -> Certificate:
    """The certificate that this machine made for itself; a new one where it does not fit.

    Parameters
    ----------
    folder
        Where it is kept, outside the workspace and readable by its owner only.
    hosts
        Names and addresses it must be good for.
    """
    wanted = frozenset(hosts)
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    if certificate.is_file() and key.is_file():
        kept = _load(certificate)
        lasting = kept.not_valid_after_utc - now > RENEW_BEFORE
        if lasting and wanted <= _names(kept):
            return read_certificate(certificate, key, now=now)
    _make(certificate, key, wanted, now)
    return read_certificate(certificate, key, now=now)


def machine_names() -> frozenset[str]:
    """What this machine is called in its network."""
    name = socket.gethostname()
    return frozenset({"localhost", "127.0.0.1", "::1", name, socket.getfqdn() or name})


def _make(certificate: Path, key: Path, hosts: frozenset[str], now: datetime) -> None:
    private = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "hipwright on this machine")])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + LIFE)
        .add_extension(x509.SubjectAlternativeName(_general_names(hosts)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    key.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    _write(
        key,
        private.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        ),
    )
    _write(certificate, made.public_bytes(serialization.Encoding.PEM))


def _write(path: Path, content: bytes) -> None:
    part = path.with_suffix(".part")
    part.unlink(missing_ok=True)
    descriptor = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
    part.replace(path)


def _general_names(hosts: Iterable[str]) -> list[x509.GeneralName]:
    names: list[x509.GeneralName] = []
    for host in sorted(hosts):
        try:
            names.append(x509.IPAddress(ipaddress.ip_address(host)))
        except ValueError:
            names.append(x509.DNSName(host))
    return names


def _names(certificate: x509.Certificate) -> frozenset[str]:
    try:
        found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return frozenset()
    names = found.get_values_for_type(x509.DNSName)
    return frozenset([*names, *(str(a) for a in found.get_values_for_type(x509.IPAddress))])


def _fingerprint(certificate: x509.Certificate) -> str:
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _load(path: Path) -> x509.Certificate:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError) as error:
        raise _unusable("a file that cannot be read", "a certificate in PEM form") from error


def _public_bytes(key: object) -> bytes:
    return key.public_bytes(  # pyright: ignore[reportAttributeAccessIssue] - any kind of key
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )


def _unusable(found: str, needed: str) -> CertificateError:
    return CertificateError(
        "cannot use the certificate",
        found=found,
        needed=needed,
        next_step="Check --tls-cert and --tls-key, or let hipwright make one with "
        "--tls-self-made.",
        field="tls",
    )
