"""A session as one file to send to a friend, and back; what comes in is not trusted."""

import contextlib
import errno
import lzma
import os
import shutil
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath

from monitor.errors import SessionDamagedError, SessionError
from monitor.sessions.description import seal_of
from monitor.sessions.folder import CLOSING, LOCK, MANIFEST, SessionFolder

SUFFIX = ".session.zip"
SIZE_LIMIT_BYTES = 8_000_000_000
"""Unpacked: two hundred hours of four districts."""
FILES_LIMIT = 100_000
RATIO_LIMIT = 30
"""What is packed is compressed already; a file that grows this much is a bomb."""
RATIO_FROM_BYTES = 10_000_000
COPY_BYTES = 1 << 18

_KNOWN = {
    "": {".json", ".jsonl", ".toml", ".damaged"},
    "raw": {".xz", ".wire"},
    "steps": {".xz", ".csv"},
    "readings": {".parquet", ".damaged"},
    "snapshots": {".parquet", ".damaged"},
}
"""What may lie in which folder."""


def pack(session: SessionFolder, target: Path, tell: Callable[[int], None] = lambda _bytes: None) -> Path:
    """Make one file of a session: a plain ZIP, its files as they are.

    Args:
        session: A closed session.
        target: The file to make, or the folder to make it in.
        tell: Called with the bytes done, now and then.

    Raises:
        SessionDamagedError: It is not as it was recorded.
        SessionError: The session is still being recorded, or the file is there already or cannot be written.
    """
    session.manifest()
    if session.closing() is None:
        raise SessionError(
            f"{session.path} is not closed: end its recording first, or run 'pilotlamp sessions recover' if it was cut off"
        )
    path = target / f"{session.name}{SUFFIX}" if os.path.isdir(target) else target  # noqa: PTH112 - raises at no odd name
    if os.path.lexists(path):
        raise SessionError(f"{path} is there already: give another name, or remove it first")
    members = list(_members(session))
    for sentence in damage_of(session):
        raise SessionDamagedError(f"{session.path}: {sentence}: it would not be taken as whole, so it is not packed")
    partial = path.with_name(path.name + ".tmp")
    try:
        partial.unlink(missing_ok=True)  # of a run that was cut off; a link there is not followed
        with zipfile.ZipFile(partial, "x", zipfile.ZIP_STORED) as bundle:
            done = 0
            for file, name in members:
                bundle.write(file, name)
                done += file.stat().st_size
                tell(done)
        partial.replace(path)
    except OSError as error:
        raise SessionError(f"{path} cannot be written ({error.strerror}): check its folder and the room on its disk") from error
    finally:
        with contextlib.suppress(OSError):
            partial.unlink()
    return path


def _members(session: SessionFolder) -> Iterator[tuple[Path, str]]:
    """The files of a session, and what they are called in the ZIP."""
    for file in sorted(session.path.rglob("*")):
        name = f"{session.name}/{file.relative_to(session.path).as_posix()}"
        if file.is_symlink():
            raise SessionError(f"{file} is a link to somewhere else, and no part of a session: remove it first")
        if name != os.fsencode(name).decode("utf-8", "replace"):
            raise SessionError(f"{file} is called by no UTF-8 text, and is no part of a session: remove it first")
        if file.is_file() and file.name != LOCK:
            yield file, name


_REFUSALS = (
    zipfile.BadZipFile,
    NotImplementedError,
    RuntimeError,
    EOFError,
    ValueError,
    struct.error,
    zlib.error,
    lzma.LZMAError,
)
"""What the library raises at a file that is none; ValueError where a name is said to be UTF-8 and is not."""


def unpack(bundle_path: Path, recordings: Path, tell: Callable[[int], None] = lambda _bytes: None) -> SessionFolder:
    """Make a session folder of a packed one; all of it is checked, and nothing is left behind of one that is refused.

    Args:
        bundle_path: The packed session.
        recordings: Where the session's folder goes.
        tell: Called with the bytes done, now and then.

    Raises:
        SessionDamagedError: It is not a packed session, or not whole.
        SessionError: It wants to write elsewhere, is far too large, or a session of its name is there already.
    """
    try:
        with zipfile.ZipFile(bundle_path) as bundle:
            name = _checked(bundle, bundle_path)
            folder = recordings / name
            if folder.exists():
                raise SessionError(f"{folder} is there already: move it away first")
            return _unpacked(bundle, folder, tell)
    except _REFUSALS as error:
        raise SessionDamagedError(f"{bundle_path} is not a packed session, or not whole ({error}): get it again") from error
    except OSError as error:
        if error.errno == errno.EINVAL:  # it sends the reader to before its beginning
            raise SessionDamagedError(f"{bundle_path} is not a packed session, or not whole: get it again") from error
        raise SessionError(f"{bundle_path} cannot be unpacked ({error.strerror or error}): check both folders") from error


def damage_of(session: SessionFolder) -> Iterator[str]:
    """What of a closed session is not as its closing row says, one sentence each."""
    closing = session.closing()
    if closing is None:
        yield "it was never closed"
        return
    missing = session.missing()
    yield from missing
    for name, seal in closing.files.items():
        if f"{name} is missing" not in missing and seal_of(session.path / name) != seal:
            yield f"{name} is not as it was written"
    for path in sorted(session.path.rglob("*")):
        name = path.relative_to(session.path).as_posix()
        if not path.is_dir() and name not in (*closing.files, CLOSING, LOCK):
            yield f"{name} was not recorded: no checksum covers it"


def _checked(bundle: zipfile.ZipFile, source: Path) -> str:
    """The one folder's name, after a look at what every entry wants to be."""
    entries = bundle.infolist()
    roots = {PurePosixPath(entry.filename).parts[:1] for entry in entries}
    total = sum(entry.file_size for entry in entries)
    if len(entries) > FILES_LIMIT or total > SIZE_LIMIT_BYTES:
        raise SessionError(f"{source} is larger than a session can be: it is refused")
    if total > RATIO_FROM_BYTES and total > RATIO_LIMIT * source.stat().st_size:
        raise SessionError(f"{source} would grow out of all measure: it is refused")
    if len(roots) != 1:
        raise SessionDamagedError(f"{source} is not a packed session: it should hold one folder")
    for entry in entries:
        if not _is_known(entry):
            raise SessionError(f"{source} holds {entry.filename!r}, which is no part of a session: it is refused")
    root = roots.pop()[0]
    if f"{root}/{MANIFEST}" not in bundle.namelist() or f"{root}/{CLOSING}" not in bundle.namelist():
        raise SessionDamagedError(f"{source} is not a packed session: it lacks {MANIFEST} or {CLOSING}")
    return root


def _is_known(entry: zipfile.ZipInfo) -> bool:
    """A plain file at a place where a session has one; no links, no folders up, no drive letters."""
    name = entry.filename
    parts = name.split("/")
    if len(parts) not in (2, 3) or not all(map(_is_plain, parts)):
        return False
    kind = entry.external_attr >> 16 & 0o170000
    suffix = PurePosixPath(name).suffix
    return kind in (0, 0o100000) and suffix in _KNOWN.get("/".join(parts[1:-1]), set())


def _is_plain(part: str) -> bool:
    """A name that every file system takes, that hides nothing and that a terminal shows as it is."""
    return part != "" and part.isprintable() and not part.startswith(".") and not set(part) & set('\\:*?"<>|')


def _unpacked(bundle: zipfile.ZipFile, folder: Path, tell: Callable[[int], None]) -> SessionFolder:
    partial = folder.with_name(folder.name + ".tmp")
    shutil.rmtree(partial, ignore_errors=True)
    try:
        done = 0
        for entry in bundle.infolist():
            path = partial.joinpath(*PurePosixPath(entry.filename).parts[1:])
            path.parent.mkdir(parents=True, exist_ok=True)
            done += _copy(bundle, entry, path)
            tell(done)
        session = SessionFolder(partial)
        session.manifest()
        for sentence in damage_of(session):
            raise SessionDamagedError(f"{bundle.filename}: {sentence}: get it again")
        partial.replace(folder)
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return SessionFolder(folder)


def _copy(bundle: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path) -> int:
    """Copy one entry, never more than it says it has."""
    copied = 0
    with bundle.open(entry) as source, path.open("xb") as target:
        while piece := source.read(COPY_BYTES):
            copied += len(piece)
            if copied > entry.file_size:
                raise SessionError(f"{bundle.filename} holds more than it says: it is refused")
            target.write(piece)
    return copied
