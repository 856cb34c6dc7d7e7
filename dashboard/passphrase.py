"""The passphrase for acting from another device: kept as a hash by Argon2id (RFC 9106), never as it was written."""

import os
import sys
import tempfile
import threading
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from monitor.errors import PageError

SHORTEST = 10
LONGEST = 200
_HASH_LIMIT_BYTES = 1000


def default_path() -> Path:
    """Where the hash is kept unless told otherwise: the user's folder of settings."""
    if sys.platform == "win32":
        folder = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        folder = Path.home() / "Library" / "Application Support"
    else:
        folder = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    return folder / "pilotlamp" / "passphrase"


class Passphrase:
    """A passphrase's hash in a file that only its owner may read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._hasher = PasswordHasher()
        self._lock = threading.Lock()

    def is_set(self) -> bool:
        """Whether there is one."""
        return self.path.is_file()

    def keep(self, text: str) -> None:
        """Set it; the file is replaced at once or not at all.

        Raises:
            PageError: It is too short or too long, or the file cannot be written.
        """
        if not SHORTEST <= len(text) <= LONGEST:
            raise PageError(f"a passphrase has {SHORTEST} to {LONGEST} characters: take four words or more that are no saying")
        if os.path.lexists(self.path) and not self.path.is_file():
            # Replacing needs rights in its folder only: root would put a file in place of a device.
            raise PageError(f"{self.path} is no plain file: choose another with --passphrase-file")
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            # Made with mode 0600 from the start: at no moment can others read it.
            handle, name = tempfile.mkstemp(dir=self.path.parent, prefix=".passphrase-")
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(self._hasher.hash(text) + "\n")
            Path(name).replace(self.path)
        except OSError as error:
            raise PageError(
                f"the passphrase cannot be kept in {self.path} ({error.strerror}): choose another file with --passphrase-file"
            ) from error

    def matches(self, text: str) -> bool:
        """Whether this is it; False also where none is set or its file cannot be understood."""
        if len(text) > LONGEST:
            return False
        # One at a time: each check takes 64 MiB for a moment, and a crowd of guesses must not take it many times over.
        with self._lock:
            try:
                with self.path.open("rb") as file:
                    kept = file.read(_HASH_LIMIT_BYTES).decode("ascii").strip()
                return self._hasher.verify(kept, text)
            except (OSError, UnicodeDecodeError, InvalidHashError, VerificationError):
                return False
