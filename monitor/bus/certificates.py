"""Certificates of our own (X.509): the broker's with the hall's authority, and the page's, which vouches for itself."""

import datetime as dt
import ipaddress
from collections.abc import Iterable

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

Key = ec.EllipticCurvePrivateKey


def new_key() -> Key:
    """A key that no one else has."""
    return ec.generate_private_key(ec.SECP256R1())


def builder(name: str, began_at: dt.datetime, ends_at: dt.datetime) -> x509.CertificateBuilder:
    """What every certificate says; its own issuer until another is named."""
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    made = x509.CertificateBuilder(subject_name=subject, issuer_name=subject)
    return made.serial_number(x509.random_serial_number()).not_valid_before(began_at).not_valid_after(ends_at)


def signed(
    draft: x509.CertificateBuilder, key: Key, hosts: Iterable[str] = (), by: tuple[Key, x509.Certificate] | None = None
) -> x509.Certificate:
    """The finished certificate: of a server under these names and addresses, of an authority where there are none.

    Args:
        draft: As :func:`builder` makes it.
        key: The key that it is about.
        hosts: Names and addresses under which the server is asked for.
        by: Who vouches for it, with the key to do so; itself where None.

    Raises:
        ValueError: Something is no name or address of a computer.
    """
    names = [_host(host) for host in hosts]
    if by is not None:
        draft = draft.issuer_name(by[1].subject)
    draft = draft.public_key(key.public_key()).add_extension(
        x509.BasicConstraints(ca=by is None and not names, path_length=None), critical=True
    )
    if names:
        draft = draft.add_extension(x509.SubjectAlternativeName(names), critical=False)
        draft = draft.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    return draft.sign(key if by is None else by[0], hashes.SHA256())


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
