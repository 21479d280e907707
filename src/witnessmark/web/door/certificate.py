"""The shop's own small authority, bound to the shop's names, and the short-lived leaf it signs.

A browser keeps pages for the time without a link only where it trusts the certificate. So a device
takes the authority in once; it can vouch for the shop's own addresses and for nothing else.
"""

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

from witnessmark.errors import NotFound
from witnessmark.machine import opened_new, take_away

__all__ = ["authority_file", "certificate", "fingerprint"]

#: A device takes the authority in by hand, so it lasts; what it signs does not.
_AUTHORITY_FOR = timedelta(days=5 * 365)
_AUTHORITY_BEFORE = timedelta(days=90)
_LEAF_FOR = timedelta(days=30)
_LEAF_BEFORE = timedelta(days=10)


def certificate(folder: Path, names: Sequence[str]) -> tuple[Path, Path]:
    """Return (certificate with its authority, key) for these names.

    Both are made anew when missing, near their end or for other names; the authority is too, and
    then devices must take the new one in.

    Args:
        folder: where the files lie; the keys are readable by their owner only.
        names: host names and addresses.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    public, private = folder / "certificate.pem", folder / "key.pem"
    wanted = {n for n in names if n and n not in {"0.0.0.0", "::"}}  # noqa: S104
    machine = socket.gethostname().lower()
    wanted |= {"localhost", "127.0.0.1", machine, f"{machine}.local"}
    authority, key = _authority(folder, wanted)
    if public.is_file() and private.is_file() and _still_good(public, wanted, authority):
        return public, private
    own = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    made = (
        _begun("Witnessmark bench of this shop", authority.subject, own, now, _LEAF_FOR)
        .add_extension(x509.SubjectAlternativeName([_general(n) for n in sorted(wanted)]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(_usage(signs_others=False), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False
        )
        .sign(key, hashes.SHA256())
    )
    _write_key(private, own)
    pem = serialization.Encoding.PEM
    public.write_bytes(made.public_bytes(pem) + authority.public_bytes(pem))
    return public, private


def authority_file(folder: Path) -> bytes:
    """Return the authority's certificate as a device takes it in (DER).

    Raises:
        NotFound: this shop is not served in a network, so it has none.
    """
    try:
        found = x509.load_pem_x509_certificate((folder / "authority.pem").read_bytes())
    except (OSError, ValueError):
        raise NotFound(
            "There is no certificate to take in: the page is served on this machine alone.",
            do="Serve it in the shop's network first: witnessmark serve SHOP --host 0.0.0.0",
        ) from None
    return found.public_bytes(serialization.Encoding.DER)


def fingerprint(der: bytes) -> str:
    """Return the SHA-256 of a certificate in pairs of digits, as devices show it."""
    found = x509.load_der_x509_certificate(der).fingerprint(hashes.SHA256())
    return found.hex(" ").upper()


def _authority(
    folder: Path, wanted: set[str]
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    public, private = folder / "authority.pem", folder / "authority-key.pem"
    try:
        found = x509.load_pem_x509_certificate(public.read_bytes())
        key = serialization.load_pem_private_key(private.read_bytes(), None)
        bounds = found.extensions.get_extension_for_class(x509.NameConstraints).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        pass
    else:
        allowed = {_allowed(n) for n in bounds.permitted_subtrees or ()}
        lasts = found.not_valid_after_utc - datetime.now(UTC) > _AUTHORITY_BEFORE
        fits = isinstance(key, ec.EllipticCurvePrivateKey)
        if lasts and fits and wanted <= allowed:
            assert isinstance(key, ec.EllipticCurvePrivateKey)  # noqa: S101
            return found, key
    new = ec.generate_private_key(ec.SECP256R1())
    # The serial in the name tells two of them apart in a device's list.
    serial = x509.random_serial_number()
    title = f"Witnessmark of this shop {serial:x}"[:34]
    subject = _name(title)
    made = (
        _begun(title, subject, new, datetime.now(UTC), _AUTHORITY_FOR, serial)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), True)
        .add_extension(_usage(signs_others=True), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .add_extension(x509.NameConstraints([_bound(n) for n in sorted(wanted)], None), True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(new.public_key()), False)
        .sign(new, hashes.SHA256())
    )
    _write_key(private, new)
    public.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made, new


def _begun(
    title: str,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime,
    good_for: timedelta,
    serial: int | None = None,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(_name(title))
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(serial or x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + good_for)
    )


def _name(title: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])


def _usage(*, signs_others: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_others,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_others,
        crl_sign=signs_others,
        encipher_only=False,
        decipher_only=False,
    )


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    take_away(path)
    with os.fdopen(opened_new(path, private=True), "wb") as target:
        target.write(text)


def _still_good(path: Path, wanted: set[str], authority: x509.Certificate) -> bool:
    try:
        found = x509.load_pem_x509_certificate(path.read_bytes())
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        found.verify_directly_issued_by(authority)
    except Exception:  # whatever is wrong with it, a new one is made
        return False
    known = {str(n.value) for n in names}
    fresh = found.not_valid_after_utc - datetime.now(UTC) > _LEAF_BEFORE
    return fresh and wanted <= known


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _bound(name: str) -> x509.GeneralName:
    """Allow that one name or address, no network around it."""
    try:
        return x509.IPAddress(ipaddress.ip_network(name))
    except ValueError:
        return x509.DNSName(name)


def _allowed(bound: x509.GeneralName) -> str:
    value = bound.value
    if isinstance(value, (ipaddress.IPv4Network, ipaddress.IPv6Network)):
        return str(value.network_address)
    return str(value)
