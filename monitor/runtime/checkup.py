"""The checkup before a show: can this computer do the job? Each check says what it found and what to do."""

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monitor.errors import LinkError
from monitor.layout import Board, Layout
from monitor.link.listen import PortCapture
from monitor.link.ports import find_ports
from monitor.sessions import find_sessions
from monitor.values import Identity
from monitor.wire.inspection import why_not

MEGABYTES_AN_HOUR = 40
HOURS_WANTED = 24
SLOW_DISK_S = 0.5
AT_REST_COUNTS = 6.0
"""A channel that moves by less has nothing to measure: a sound one by a count or two."""
EARLIEST_YEAR = 2025
"""No computer that runs this program has a right clock before this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing looked at.

    Attributes:
        good: Whether it is as it should be.
        found: What was found, one sentence.
        remedy: What to do; empty where it is good.
    """

    name: str
    good: bool
    found: str
    remedy: str = ""


def check_computer(
    recordings: Path, layout: Layout | None, listen_at: Callable[[Board], PortCapture] | None = None
) -> Iterator[Check]:
    """All checks but those of the page, in the order a person would go through them. Nothing is left behind.

    Args:
        recordings: Where sessions are kept.
        layout: The layout file, where given: its boards' ports are looked at too.
        listen_at: Listens to a board's port for some seconds, or raises a LinkError; None where no port is to be opened.
    """
    yield from _ports(layout, listen_at)
    yield _folder(recordings)
    yield _disk(recordings)
    yield disk_speed_check(_seconds_to_keep(recordings))
    yield clock_check(datetime.now(tz=UTC), _newest_session(recordings))
    yield browser_check(shutil.which)


def _ports(layout: Layout | None, listen_at: Callable[[Board], PortCapture] | None) -> Iterator[Check]:
    found = find_ports()
    names = ", ".join(port.device for port in found) or "none"
    wired = layout is None or any(board.port is not None and "://" not in board.port for board in layout.board)
    yield Check(
        name="serial ports",
        good=bool(found) or not wired,
        found=f"Plugged in: {names}.",
        remedy="" if found or not wired else "Plug the sensor board in with a cable that carries data; try another USB socket.",
    )
    captures: dict[str, PortCapture | LinkError] = {}
    for board in layout.board if layout else ():
        if board.port is not None and listen_at is not None and board.port not in captures:
            try:
                captures[board.port] = listen_at(board)
            except LinkError as error:
                captures[board.port] = error
        assert layout is not None  # noqa: S101 - it has boards
        yield port_check(layout, board, captures.get(board.port or ""))


def port_check(layout: Layout, board: Board, capture: PortCapture | LinkError | None) -> Check:
    """One board's port: named, there, opened, and what came over it.

    Args:
        layout: The layout file.
        board: The board.
        capture: What came over its port, or why it could not be opened; None where it was not opened.
    """
    if board.port is None:
        return _board_check(board, "The layout file names none.", 'Add port = "..." to its table; see pilotlamp ports.')
    if capture is None:
        return _board_check(board, f"{board.port} was not listened to.")
    if isinstance(capture, LinkError):
        problem, _, remedy = str(capture).partition(": ")
        return _board_check(board, as_sentence(problem), as_sentence(remedy) or "See pilotlamp ports for what is there.")
    if not capture.bytes:
        remedy = "Check the board's power and sketch, and press its reset button."
        return _board_check(board, f"{board.port} is open, but nothing came in {capture.seconds:.0f} s.", remedy)
    if not capture.boards:
        remedy = f"See what comes with: pilotlamp listen {board.port}"
        return _board_check(board, why_not(capture.seen, board.port, capture.baud, layout.line_board(board.port)), remedy)
    return _capture_check(layout, board, capture)


def _capture_check(layout: Layout, board: Board, capture: PortCapture) -> Check:
    names = [identity.name for identity in capture.boards]
    fits = [identity for identity in capture.boards if identity.name == board.name]
    fits = fits or [identity for identity in capture.boards if identity.number == board.number]
    if not fits:
        found = f"The board on {board.port} calls itself {', '.join(map(repr, names))}."
        return _board_check(board, found, "Correct the board's name or number in the layout file.")
    (identity, *_) = fits
    counts = capture.counts.get(identity.number)
    found = f"{board.port} talks at {capture.baud} baud: {_talk(identity, capture, counts)}"
    if capture.damaged:
        last = capture.damaged[-1]
        found += f" {len(capture.damaged)} damaged, the last one: {last.detail or last.kind.value}."
    missing = _missing(layout, board, identity, capture)
    remedy = (
        f"The layout file uses {', '.join(f'channel {channel}' for channel in missing)}, which never came: correct the channels there, "
        "or what the sketch sends (channels and outputs count from 0)."
        if missing
        else ""
    )
    return _board_check(board, found, remedy, good=not missing)


def _talk(identity: Identity, capture: PortCapture, counts: NDArray[np.int16] | None) -> str:
    """Form, outputs or channels, rate, and noise of what is at rest."""
    if identity.form == "lines":
        outputs = np.zeros(0, dtype=np.int64) if capture.readings is None else capture.readings.outputs
        sent = ", ".join(map(str, np.unique(outputs).tolist())) or "none yet"
        return f"lines, outputs {sent}, {len(outputs) / capture.seconds:.1f} readings a second."
    if counts is None:
        return f"the packed form, {len(identity.channels)} channels, but no samples."
    spread = counts.std(axis=0)
    rest = spread < AT_REST_COUNTS
    noise = (
        f"at rest the noisiest of {rest.sum()} channels moves by {spread[rest].max():.1f} counts"
        if rest.any()
        else "none is at rest"
    )
    return f"the packed form, {len(identity.channels)} channels, {len(counts) / capture.seconds:.0f} scans a second; {noise}."


def _missing(layout: Layout, board: Board, identity: Identity, capture: PortCapture) -> list[int]:
    """Channels that the layout file uses and that never came."""
    came = set(range(len(identity.channels)))
    if identity.form == "lines" and capture.readings is not None:
        outputs = np.unique(capture.readings.outputs).tolist()
        came = {channel for output in outputs for channel in (2 * output, 2 * output + 1)}
    districts = layout.districts_of_board(board.name)
    wanted = {channel for d in districts for channel in (d.volts_channel, d.amps_channel, d.far_volts_channel)}
    return sorted(channel for channel in wanted if channel is not None and channel not in came)


def _board_check(board: Board, found: str, remedy: str = "", *, good: bool = False) -> Check:
    return Check(name=f'port of board "{board.name}"', good=good, found=found, remedy=remedy)


def as_sentence(text: str) -> str:
    """A part of a message as a sentence of its own."""
    text = text.rstrip(".")
    return f"{text if text.startswith('/') else text[:1].upper() + text[1:]}." if text else ""


def _there(folder: Path) -> Path:
    """The folder, or the nearest above it that exists."""
    return next(each for each in (folder, *folder.absolute().parents) if each.exists())


def _folder(recordings: Path) -> Check:
    name = "recordings folder"
    try:
        with tempfile.TemporaryFile(dir=_there(recordings)):
            pass
    except OSError as error:
        remedy = "Give this user the right to write there, or choose another folder with --recordings."
        return Check(name=name, good=False, found=f"{recordings} cannot be written ({error.strerror}).", remedy=remedy)
    state = "can be written" if recordings.exists() else "is made when it is needed"
    return Check(name=name, good=True, found=f"{recordings} {state}.")


def _disk(recordings: Path) -> Check:
    free_megabytes = shutil.disk_usage(_there(recordings)).free / 1e6
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
        with tempfile.TemporaryFile(dir=_there(recordings)) as file:
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
    """The wall clock, as far as it can be judged without a network.

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
