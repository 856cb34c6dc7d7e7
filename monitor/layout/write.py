"""Putting a changed layout text in its file's place: whole, checked first, the file as it was kept beside it where wanted."""

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from monitor.errors import LayoutError
from monitor.layout.load import parse_layout, read_text


def change_layout(path: Path, change: Callable[[str], str], *, spare: bool = True) -> None:
    """Change a layout file in place, checked before anything is replaced.

    Args:
        path: The file.
        change: Makes the new text of the old one (see ``edit``).
        spare: Keep the file as it was beside it, as :func:`spare_path` names it.

    Raises:
        LayoutError: The file cannot be read or written, or what comes out is no layout.
    """
    text = read_text(path)
    changed = change(text)
    parse_layout(changed, source=str(path))
    if spare:
        _copied(path, spare_path(path))
    write_layout(path, changed)


def spare_path(path: Path) -> Path:
    """Where the file as it was is kept: LAYOUT.toml.before."""
    return path.with_suffix(path.suffix + ".before")


def _copied(path: Path, spare: Path) -> None:
    try:
        shutil.copyfile(path, spare)
    except OSError as error:
        raise LayoutError(
            f"the file as it was cannot be kept ({error.strerror}), so it was not changed: check the folder's rights",
            source=str(spare),
        ) from error


def write_layout(path: Path, text: str) -> None:
    """Put a layout text in place of a file, whole or not at all.

    Args:
        path: The file; made where it is not there.
        text: TOML; checked first, so that a file that works is never replaced by one that does not.

    Raises:
        LayoutError: The text is no layout, or the file cannot be written.
    """
    parse_layout(text, source=str(path))
    write_text(path, text)


def write_text(path: Path, text: str) -> None:
    """Put a text in place of a file, whole or not at all.

    Raises:
        LayoutError: It cannot be written.
    """
    try:
        _replace(path.resolve(), text)
    except OSError as error:
        raise LayoutError(
            f"the file cannot be written ({error.strerror}): check the folder's rights and the room on the disk", source=str(path)
        ) from error


def _replace(target: Path, text: str) -> None:
    with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=target.parent, prefix=".layout-", delete=False) as made:
        new = Path(made.name)
        try:
            made.write(text)
            made.flush()
            os.fsync(made.fileno())
        except OSError:
            new.unlink()
            raise
    new.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o644)
    new.replace(target)
