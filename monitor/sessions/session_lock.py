"""The mark that a session is being recorded at this moment."""

import contextlib
import os
from pathlib import Path

try:
    import fcntl

    HAS_LOCKS = True
except ImportError:  # pragma: no cover - systems other than POSIX
    HAS_LOCKS = False


class SessionLock:
    """Held while a session is recorded; the system lets go of it when the process ends, however that happens.

    Args:
        path: The lock's file.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._handle: int | None = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        if HAS_LOCKS:
            fcntl.flock(self._handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def release(self) -> None:
        """Let go; the file goes too."""
        if self._handle is None:
            return
        handle, self._handle = self._handle, None
        with contextlib.suppress(OSError):
            os.close(handle)
        with contextlib.suppress(OSError):
            self._path.unlink()


def is_held(path: Path) -> bool:
    """True while some process records this session."""
    try:
        handle = os.open(path, os.O_RDWR)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    if not HAS_LOCKS:
        os.close(handle)
        return _cannot_go(path)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


def _cannot_go(path: Path) -> bool:
    """Where there are no advisory locks, an open file cannot be removed."""
    try:
        path.unlink()
    except PermissionError:
        return True
    return False
