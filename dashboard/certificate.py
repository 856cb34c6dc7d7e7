"""A certificate of the program's own, for encryption without an authority: made once, then kept."""

import datetime as dt
import os
import socket
import tempfile
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes

from monitor.bus.certificates import Draft, new_key, pem, signed
from monitor.errors import PageError

LASTS = dt.timedelta(days=820)
"""Some browsers refuse certificates that last longer than 825 days."""
RENEWED_BEFORE = dt.timedelta(days=3)
CERTIFICATE, KEY = "certificate.pem", "certificate-key.pem"


@dataclass(frozen=True, slots=True, kw_only=True)
class Encryption:
    """What the page is encrypted with.

    Attributes:
        key: PEM file of its key; None where it is in the same file.
        vouched: Whether an authority may have signed it: only then are browsers to insist on encryption.
    """

    certificate: Path
    key: Path | None
    vouched: bool

    def fingerprint(self) -> str:
        """SHA-256 of the certificate, as browsers show it."""
        return self._first().fingerprint(hashes.SHA256()).hex(":").upper()

    def ends_at(self) -> dt.datetime:
        """When browsers begin to refuse the certificate."""
        return self._first().not_valid_after_utc

    def _first(self) -> x509.Certificate:
        try:
            return x509.load_pem_x509_certificates(self.certificate.read_bytes())[0]
        except (OSError, ValueError) as error:
            raise PageError(f"{self.certificate} is no certificate in PEM form: give another with --cert") from error


def own_encryption(folder: Path, address: str) -> Encryption:
    """The program's own certificate, for this machine's address; made in the folder where there is none, or where it is about to end.

    Raises:
        PageError: It cannot be kept there.
    """
    made = Encryption(certificate=folder / CERTIFICATE, key=folder / KEY, vouched=False)
    if not _lasts(made.certificate) or not (folder / KEY).is_file():
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _make(folder, address)
        except OSError as error:
            raise PageError(
                f"the certificate cannot be kept in {folder} ({error.strerror}): mend its rights, or give one with --cert and --key"
            ) from error
    return made


def _lasts(path: Path) -> bool:
    try:
        kept = x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError):
        return False
    return kept.not_valid_before_utc <= _now() < kept.not_valid_after_utc - RENEWED_BEFORE


def _make(folder: Path, address: str) -> None:
    key, host = new_key(), socket.gethostname().lower()
    hosts = list(dict.fromkeys(["localhost", "127.0.0.1", "::1", address]))
    draft = Draft("pilotlamp", _now() - dt.timedelta(days=1), _now() + LASTS)  # clocks of visitors differ
    try:
        made = signed(draft, key, [*hosts, host, f"{host}.local"])
    except ValueError:  # a host may have a name that no certificate can carry
        made = signed(draft, key, hosts)
    _write(folder / KEY, pem(key))
    _write(folder / CERTIFICATE, pem(made))


def _write(path: Path, data: bytes) -> None:
    """Write a file that only its owner may read, at no moment anybody else; whole or not at all."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    with os.fdopen(handle, "wb") as file:
        file.write(data)
    Path(name).replace(path)


def _now() -> dt.datetime:
    return dt.datetime.now(tz=dt.UTC)
