"""The shop's own certificate authority, so that its pages can be served over HTTPS.

A phone that trusts it gains an entry offline; it can vouch for nothing but this shop: it is bound
(RFC 5280, section 4.2.1.10, name constraints, critical) to the names of the shop's computer and to
private addresses (RFC 1918, RFC 4193, link-local, loopback). The certificate of the server lives
`LEAF_DAYS` and is made anew at each start. Keys are readable by their owner alone.
"""

from __future__ import annotations

import ipaddress
import os
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from knowngood.store.problem import StoreProblem

AUTHORITY_DAYS = 3650
LEAF_DAYS = 30
BEFORE = timedelta(days=1)  # a phone's clock may be behind

PRIVATE = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8",
    "fc00::/7", "fe80::/10", "::1/128",
)  # fmt: skip
_NETWORKS = tuple(ipaddress.ip_network(one) for one in PRIVATE)

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


@dataclass(frozen=True, slots=True)
class Certificates:
    """Files to serve with. `names` and `addresses` are those that the server's certificate is for,
    `left_out` what the authority may not vouch for. `fingerprint`: SHA-256 of the authority."""

    authority: Path
    chain: Path
    key: Path
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    left_out: tuple[str, ...]
    ends: datetime
    fingerprint: str


def certificates(
    folder: Path, names: Sequence[str], addresses: Sequence[str], now: datetime
) -> Certificates:
    """A fresh certificate for the server, from the authority in `folder`, which is made if need be.

    Raises StoreProblem when the folder cannot be written or what lies in it is damaged.
    """
    wanted = tuple(dict.fromkeys(name.strip().lower().rstrip(".") for name in names if name))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        folder.chmod(0o700)
        key, authority = _authority(folder, wanted, now)
        allowed = _allowed_names(authority)
        good = tuple(name for name in wanted if _under(name, allowed))
        near = tuple(dict.fromkeys(one for one in addresses if _is_private(one)))
        out = tuple(one for one in (*wanted, *addresses) if one not in (*good, *near))
        if not good and not near:
            raise StoreProblem(
                f"The shop's authority in {folder} may not vouch for {', '.join(out)}: it was made "
                f"for {', '.join(allowed)} and private addresses. Give the computer that name "
                f"back, or delete the folder and trust the new authority on each phone."
            )
        leaf_key, leaf = _leaf(key, authority, good, near, now)
        _write(folder / "server.key", _private(leaf_key))
        _write(folder / "server.pem", _pem(leaf) + _pem(authority))
    except OSError as error:
        raise StoreProblem(
            f"The keys for HTTPS cannot be kept in {folder} ({error.strerror or error}). Give "
            f"yourself the right to write there, or serve without --https."
        ) from error
    return Certificates(
        folder / "authority.pem", folder / "server.pem", folder / "server.key", good, near, out,
        leaf.not_valid_after_utc, fingerprint(authority.public_bytes(serialization.Encoding.DER)),
    )  # fmt: skip


def as_der(pem: bytes) -> bytes:
    """The authority's certificate as phones take it. Raises ValueError."""
    der: bytes = x509.load_pem_x509_certificate(pem).public_bytes(serialization.Encoding.DER)
    return der


def fingerprint(der: bytes) -> str:
    """SHA-256 in groups of four, as a person compares it."""
    digest = hashes.Hash(hashes.SHA256())
    digest.update(der)
    text = digest.finalize().hex().upper()
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


def _authority(
    folder: Path, names: Sequence[str], now: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    key_file, file = folder / "authority.key", folder / "authority.pem"
    if key_file.exists() != file.exists():
        raise StoreProblem(
            f"{folder} holds one half of the shop's authority. Put the other back from a backup, "
            f"or delete the folder and trust the new authority on each phone."
        )
    if file.exists():
        try:
            key = serialization.load_pem_private_key(key_file.read_bytes(), None)
            authority = x509.load_pem_x509_certificate(file.read_bytes())
        except (ValueError, TypeError) as error:
            raise StoreProblem(
                f"The shop's authority in {folder} is damaged ({error}). Put it back from a "
                f"backup, or delete the folder and trust the new authority on each phone."
            ) from error
        key_file.chmod(0o600)
        if isinstance(key, ec.EllipticCurvePrivateKey) and authority.not_valid_after_utc > now:
            return key, authority
    key = ec.generate_private_key(ec.SECP256R1())
    authority = _made(key, names, now)
    _write(key_file, _private(key))
    _write(file, _pem(authority))
    return key, authority


def _made(key: ec.EllipticCurvePrivateKey, names: Sequence[str], now: datetime) -> x509.Certificate:
    who = names[0] if names else "this shop"
    title = x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"Authority of {who} {uuid.uuid4().hex[:6]}"[:64])]
    )
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in names]
    permitted += [x509.IPAddress(network) for network in _NETWORKS]
    usage = x509.KeyUsage(
        digital_signature=False, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, key_cert_sign=True, crl_sign=True,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip
    public = key.public_key()
    return (
        x509.CertificateBuilder()
        .subject_name(title)
        .issuer_name(title)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BEFORE)
        .not_valid_after(now + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .sign(key, hashes.SHA256())
    )


def _leaf(
    key: ec.EllipticCurvePrivateKey, authority: x509.Certificate, names: Sequence[str],
    addresses: Sequence[str], now: datetime,
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:  # fmt: skip
    own = ec.generate_private_key(ec.SECP256R1())
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, (*names, *addresses)[0][:64])])
    also: list[x509.GeneralName] = [x509.DNSName(name) for name in names]
    also += [x509.IPAddress(ipaddress.ip_address(one)) for one in addresses]
    ends = min(now + timedelta(days=LEAF_DAYS), authority.not_valid_after_utc)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key())
    leaf = (
        x509.CertificateBuilder()
        .subject_name(title)
        .issuer_name(authority.subject)
        .public_key(own.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BEFORE)
        .not_valid_after(ends)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(also), critical=False)
        .add_extension(issuer, critical=False)
        .sign(key, hashes.SHA256())
    )
    return own, leaf


def _allowed_names(authority: x509.Certificate) -> tuple[str, ...]:
    bound = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    return tuple(
        one.value for one in bound.permitted_subtrees or () if isinstance(one, x509.DNSName)
    )


def _under(name: str, allowed: Sequence[str]) -> bool:
    return any(name == one or name.endswith(f".{one}") for one in allowed)


def _is_private(text: str) -> bool:
    try:
        address: Address = ipaddress.ip_address(text)
    except ValueError:
        return False
    return any(address in network for network in _NETWORKS if network.version == address.version)


def _private(key: ec.EllipticCurvePrivateKey) -> bytes:
    data: bytes = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return data


def _pem(certificate: x509.Certificate) -> bytes:
    data: bytes = certificate.public_bytes(serialization.Encoding.PEM)
    return data


def _write(path: Path, data: bytes) -> None:
    """Whole or not at all, and never readable by others, not even for a moment."""
    part = path.with_name(f".{path.name}.part")
    part.unlink(missing_ok=True)
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
    os.replace(part, path)
