"""Files that stay: appended bytes on the disk when asked, whole files that appear at once or not at all, and the lock of a recording."""

import contextlib
import os
from pathlib import Path


class AppendedFile:
    """A file that only grows. Bytes are with the operating system at once and on the disk after :meth:`sync`.

    Args:
        path: The file; made where it does not exist.

    Attributes:
        whole_bytes: How long it was when all that belongs together was in it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = path.open("ab", buffering=0)
        self._unsynced = False
        self.whole_bytes = 0

    def write(self, data: bytes) -> None:
        """Append, all of it.

        Raises:
            OSError: Not all of it could be written; what was written of it is cut off again where possible.
        """
        before = self._file.tell()
        left = memoryview(data)
        try:
            while left:
                left = left[self._file.write(left) :]
        except OSError:
            with contextlib.suppress(OSError):
                self._file.truncate(before)
            raise
        self._unsynced = True

    def sync(self) -> None:
        """Wait until everything is on the disk."""
        if self._unsynced:
            os.fsync(self._file.fileno())
            self._unsynced = False

    def mark_whole(self) -> None:
        """What is in it now belongs together, over several files."""
        self.whole_bytes = self._file.tell()

    def close(self) -> None:
        """Close; never raises."""
        with contextlib.suppress(OSError):
            self._file.close()

    def is_in_place(self) -> bool:
        """False where the file was removed, moved or replaced meanwhile."""
        try:
            there, ours = self.path.stat(), os.fstat(self._file.fileno())
        except (OSError, ValueError):  # closed already
            return False
        return (there.st_dev, there.st_ino) == (ours.st_dev, ours.st_ino)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file that is either there in full or not at all, also after a power cut."""
    temporary = path.with_name(path.name + ".tmp")
    temporary.unlink(missing_ok=True)  # of a run that was cut off; a link there is not followed
    with temporary.open("xb", buffering=0) as file:
        left = memoryview(data)
        while left:
            left = left[file.write(left) :]
        os.fsync(file.fileno())
    temporary.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable; without effect where the system does not know that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


try:
    import fcntl

    HAS_LOCKS = True
except ImportError:  # pragma: no cover - systems other than POSIX
    HAS_LOCKS = False


class SessionLock:
    """Held while a session is recorded; the system lets go of it when the process ends, however that happens."""

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
