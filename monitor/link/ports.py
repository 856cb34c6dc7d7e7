"""Which ports there are, and whether this user may open them."""

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports


@dataclass(frozen=True, slots=True, kw_only=True)
class PortFound:
    """A serial port of this computer.

    Attributes:
        device: What to write as ``port`` in the layout file.
        description: What is plugged in, as far as it says.
        remedy: What to do so that this user may open it, one sentence; None where nothing is in the way.
    """

    device: str
    description: str
    remedy: str | None


def find_ports() -> tuple[PortFound, ...]:
    """All serial ports, sorted by device."""
    found = sorted(list_ports.comports(), key=lambda port: port.device)
    return tuple(
        PortFound(
            device=port.device,
            description=_description(port.description, port.hwid),
            remedy=access_remedy(port.device),
        )
        for port in found
    )


def access_remedy(device: str) -> str | None:
    """What to do so that this user may read a device; None where the user may, or where there is no such device."""
    path = Path(device)
    if not path.exists() or os.access(path, os.R_OK | os.W_OK):
        return None
    group = _group_that_may(path)
    if group is None:
        return f"ask the owner of this computer for the right to read and write {device}"
    return f"join the group {group} (sudo usermod -aG {group} $USER), then log out and in again"


def _group_that_may(path: Path) -> str | None:
    try:
        import grp  # noqa: PLC0415 - exists on POSIX only

        mode, group_id = _owner(path)
        may = stat.S_IRGRP | stat.S_IWGRP
        return grp.getgrgid(group_id).gr_name if mode & may == may and group_id else None
    except (ImportError, KeyError, OSError):
        return None


def _owner(path: Path) -> tuple[int, int]:
    status = path.stat()
    return status.st_mode, status.st_gid


def _description(description: str | None, hwid: str | None) -> str:
    known = [text for text in (description, hwid) if text and text != "n/a"]
    return ", ".join(known) or "nothing known about it"
