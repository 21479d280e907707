"""A certificate of the shop's own, made on the first start in the network."""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from witnessmark.machine import opened_new, take_away

__all__ = ["certificate"]

#: Browsers refuse certificates that are good for longer.
_GOOD_FOR = timedelta(days=397)
_RENEW_BEFORE = timedelta(days=30)


def certificate(folder: Path, names: Sequence[str]) -> tuple[Path, Path]:
    """Return (certificate, key) for these names; made anew when missing, old or for other names.

    Args:
        folder: where both files lie; the key is readable by its owner only.
        names: host names and addresses.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    public, private = folder / "certificate.pem", folder / "key.pem"
    wanted = {n for n in names if n and n not in {"0.0.0.0", "::"}}  # noqa: S104
    machine = socket.gethostname().lower()
    wanted |= {"localhost", "127.0.0.1", machine, f"{machine}.local"}
    if public.is_file() and private.is_file() and _still_good(public, wanted):
        return public, private
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Witnessmark bench of this shop")])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + _GOOD_FOR)
        .add_extension(x509.SubjectAlternativeName([_general(n) for n in sorted(wanted)]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(key, hashes.SHA256())
    )
    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    take_away(private)
    with os.fdopen(opened_new(private, private=True), "wb") as target:
        target.write(text)
    public.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return public, private


def _still_good(path: Path, wanted: set[str]) -> bool:
    try:
        found = x509.load_pem_x509_certificate(path.read_bytes())
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return False
    known = {str(n.value) for n in names}
    fresh = found.not_valid_after_utc - datetime.now(UTC) > _RENEW_BEFORE
    return fresh and wanted <= known


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
