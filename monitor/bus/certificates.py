"""Certificates of our own (X.509): the broker's with the hall's authority, and the page's, which vouches for itself."""

import datetime as dt
import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

Key = ec.EllipticCurvePrivateKey


def new_key() -> Key:
    """A key that no one else has."""
    return ec.generate_private_key(ec.SECP256R1())


@dataclass(frozen=True, slots=True)
class Draft:
    """What a certificate says of itself: a common name, and from when to when it is good."""

    name: str
    began_at: dt.datetime
    ends_at: dt.datetime


def signed(draft: Draft, key: Key, hosts: Iterable[str] = (), by: tuple[Key, x509.Certificate] | None = None) -> x509.Certificate:
    """The finished certificate: of a server under these names and addresses, of an authority where there are none.

    Args:
        draft: What it says of itself.
        key: The key that it is about.
        hosts: Names and addresses under which the server is asked for.
        by: Who vouches for it, with the key to do so; itself where None.

    Raises:
        ValueError: Something is no name or address of a computer.
    """
    names = [_host(host) for host in hosts]
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, draft.name)])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject if by is None else by[1].subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(draft.began_at)
        .not_valid_after(draft.ends_at)
        .add_extension(x509.BasicConstraints(ca=by is None and not names, path_length=None), critical=True)
    )
    if names:
        made = made.add_extension(x509.SubjectAlternativeName(names), critical=False)
        made = made.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    return made.sign(key if by is None else by[0], hashes.SHA256())


def pem(made: Key | x509.Certificate) -> bytes:
    """As files hold it; a key without a password."""
    if isinstance(made, x509.Certificate):
        return made.public_bytes(serialization.Encoding.PEM)
    return made.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())


def _host(text: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(text))
    except ValueError:
        pass
    try:
        return x509.DNSName(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is no name or address of a computer") from error
