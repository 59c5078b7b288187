"""A certificate of one's own for ``lakemap serve``: browsers give a position to pages over https only.

The standard library speaks TLS but makes no certificate; ``cryptography`` does, and is loaded only here.
"""

from __future__ import annotations

import datetime
import ipaddress
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from lakemap.errors import OutputError

if TYPE_CHECKING:
    from cryptography.x509 import Certificate, GeneralName

DAYS = 397
"""How long a certificate holds: the longest that browsers of today take without complaint (from memory)."""

DAY = datetime.timedelta(days=1)


def kept_certificate(file: Path, names: Sequence[str]) -> tuple[Path, str]:
    """The certificate in ``file``, made anew when it is over or lacks one of ``names``, and its SHA-256 in hex.

    Key and certificate stand in the one file, readable by its owner only. Raises OutputError when it cannot be
    written.
    """
    held = _read(file)
    if held is None or not _good(held, names):
        text, held = new_certificate(names)
        _write(file, text)
    from cryptography.hazmat.primitives.hashes import SHA256

    return file, held.fingerprint(SHA256()).hex(":").upper()


def new_certificate(names: Sequence[str]) -> tuple[bytes, Certificate]:
    """Key and self-signed certificate (PEM) for addresses and host names, with the certificate itself.

    P-256 with SHA-256, names as RFC 5280 subjectAltName, for servers only and for no other certificate.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key = ec.generate_private_key(ec.SECP256R1())
    who = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "lakemap on this computer")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder().subject_name(who).issuer_name(who).public_key(key.public_key())
        .serial_number(x509.random_serial_number()).not_valid_before(now - DAY).not_valid_after(now + DAYS * DAY)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption(),
    )
    return secret + made.public_bytes(serialization.Encoding.PEM), made


def _general(name: str) -> GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _good(held: Certificate, names: Sequence[str]) -> bool:
    from cryptography import x509

    covered = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    now = datetime.datetime.now(datetime.UTC)
    return all(_general(name) in covered for name in names) and (
        held.not_valid_before_utc < now < held.not_valid_after_utc - DAY
    )


def _read(file: Path) -> Certificate | None:
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        text = file.read_bytes()
        held, key = x509.load_pem_x509_certificate(text), load_pem_private_key(text, None)
        held.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    except (OSError, ValueError, TypeError, x509.ExtensionNotFound):
        return None
    return held if key.public_key() == held.public_key() else None


def _write(file: Path, text: bytes) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.unlink(missing_ok=True)
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(text)
    except OSError as fault:
        raise OutputError(
            f"{file}: the certificate cannot be kept there ({fault.strerror}); choose another --certificate, or --http"
        ) from None
