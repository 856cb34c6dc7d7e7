"""The checkup before a show: can this computer do the job? Each check says what it found and what to do."""

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from monitor.layout import Layout
from monitor.link.ports import access_remedy, find_ports
from monitor.sessions import find_sessions

MEGABYTES_AN_HOUR = 40
HOURS_WANTED = 24
SLOW_DISK_S = 0.5
EARLIEST_YEAR = 2025
"""No computer that runs this program has a right clock before this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing looked at.

    Attributes:
        name: What.
        good: Whether it is as it should be.
        found: What was found, one sentence.
        remedy: What to do; empty where it is good.
    """

    name: str
    good: bool
    found: str
    remedy: str = ""


def check_computer(recordings: Path, layout: Layout | None) -> Iterator[Check]:
    """All checks but those of the page, in the order a person would go through them.

    Args:
        recordings: Where sessions are kept.
        layout: The layout file, where given: its boards' ports are looked at too.
    """
    yield from _ports(layout)
    yield _folder(recordings)
    yield _disk(recordings)
    yield disk_speed_check(_seconds_to_keep(recordings))
    yield clock_check(datetime.now(tz=UTC), _newest_session(recordings))
    yield browser_check(shutil.which)


def _ports(layout: Layout | None) -> Iterator[Check]:
    found = find_ports()
    names = ", ".join(port.device for port in found) or "none"
    yield Check(
        name="serial ports",
        good=bool(found),
        found=f"Plugged in: {names}.",
        remedy="" if found else "Plug the sensor board in with a cable that carries data; try another USB socket.",
    )
    for board in layout.board if layout else ():
        yield port_check(board.name, board.port)


def port_check(board: str, port: str | None) -> Check:
    """One board's port: named, there, and this user may open it."""
    name = f'port of board "{board}"'
    if port is None:
        return Check(
            name=name,
            good=False,
            found="The layout file names none.",
            remedy='Add port = "..." to its table; see pilotlamp ports.',
        )
    if "://" in port:
        return Check(name=name, good=True, found=f"{port} is an address; it is tried when watching begins.")
    if not Path(port).exists():
        return Check(
            name=name,
            good=False,
            found=f"{port} is not there.",
            remedy="Plug the board in, or correct its port; see pilotlamp ports.",
        )
    remedy = access_remedy(port)
    return Check(name=name, good=remedy is None, found=f"{port} is there.", remedy=remedy or "")


def _folder(recordings: Path) -> Check:
    name = "recordings folder"
    try:
        recordings.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=recordings):
            pass
    except OSError as error:
        remedy = "Give this user the right to write there, or choose another folder with --recordings."
        return Check(name=name, good=False, found=f"{recordings} cannot be written ({error.strerror}).", remedy=remedy)
    return Check(name=name, good=True, found=f"{recordings} can be written.")


def _disk(recordings: Path) -> Check:
    there = next(folder for folder in (recordings, *recordings.absolute().parents) if folder.exists())
    free_megabytes = shutil.disk_usage(there).free / 1e6
    hours = free_megabytes / MEGABYTES_AN_HOUR
    return Check(
        name="disk",
        good=hours >= HOURS_WANTED,
        found=f"{free_megabytes / 1000:.1f} GB free: room for about {hours:.0f} hours of four districts.",
        remedy="" if hours >= HOURS_WANTED else "Make room, or keep recordings on another disk with --recordings.",
    )


def _seconds_to_keep(recordings: Path) -> float | None:
    """How long a second of four districts takes to be on the disk for good; None where nothing can be written."""
    try:
        with tempfile.TemporaryFile(dir=recordings) as file:
            began_s = time.monotonic()
            file.write(os.urandom(1_000_000 * MEGABYTES_AN_HOUR // 3600))
            file.flush()
            os.fsync(file.fileno())
            return time.monotonic() - began_s
    except OSError:
        return None


def disk_speed_check(seconds: float | None) -> Check:
    """Whether the disk keeps up.

    Args:
        seconds: How long it took to keep what comes in one second; None where nothing could be kept.
    """
    name = "disk speed"
    if seconds is None:
        return Check(name=name, good=False, found="Nothing could be written.", remedy="See the recordings folder above.")
    good = seconds < SLOW_DISK_S
    remedy = "" if good else "Use another disk (not a worn memory card) with --recordings, or end what else writes to this one."
    return Check(name=name, good=good, found=f"What comes in one second is safe after {seconds:.2f} s.", remedy=remedy)


def _newest_session(recordings: Path) -> datetime | None:
    return (
        max((session.manifest().began_at for session in find_sessions(recordings)), default=None) if recordings.is_dir() else None
    )


def clock_check(now: datetime, newest: datetime | None = None) -> Check:
    """The wall clock, as far as it can be judged without asking anybody.

    Args:
        now: What it says.
        newest: When the newest recording began: no right clock is before that.
    """
    behind = newest is not None and now < newest
    good = now.year >= EARLIEST_YEAR and not behind
    why = f", but the newest recording began at {newest:%Y-%m-%d %H:%M} UTC" if newest is not None and behind else ""
    return Check(
        name="clock",
        good=good,
        found=f"The computer's clock says {now:%Y-%m-%d %H:%M} UTC{why}.",
        remedy="" if good else "Set the computer's clock: sessions are named by it. Watching itself does not depend on it.",
    )


def browser_check(which: Callable[[str], str | None]) -> Check:
    """Whether this computer has a browser of its own."""
    names = ("xdg-open", "open", "chromium", "google-chrome", "firefox", "microsoft-edge")
    found = next((name for name in names if which(name)), None) or ("start" if os.name == "nt" else None)
    if found is None:
        remedy = "Look at the page from another device with --share, or install a browser."
        return Check(name="browser", good=False, found="No browser was found on this computer.", remedy=remedy)
    return Check(name="browser", good=True, found=f"A browser can be opened ({found}).")
