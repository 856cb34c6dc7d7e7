"""Listens to a port for some seconds: what comes, which boards talk there, and at which baud rate."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Board
from monitor.values import Chunk, Identity, LineReadings, joined_lines
from monitor.wire import Fault, Item, SampleRun, WireDecoder
from monitor.wire.inspection import Inspection, Transcript
from monitor.wire.reading_lines import line_channels
from monitor.wire.thresholds import FEWEST_LINES

LISTEN_S = 1.3
"""Time for each baud rate: a packed board says who it is once a second."""
MORE_S = 1.5
"""Time for all boards of the port, and all outputs of a line board that does not say how many it has."""


class OpenPort(Protocol):
    """An open port; see :class:`monitor.link.SerialSource`."""

    def read(self) -> Chunk:
        """What came since the last read."""

    def set_baud(self, baud: int) -> None:
        """Read on at another rate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PortCapture:
    """What came over a port.

    Attributes:
        baud: The rate at which it was read.
        line_ends: Line feeds among them.
        seen: What they look like.
        form: The wire form; None where nothing was understood.
        boards: The boards, by number; a line board that never identified itself has an empty name.
        readings: Readings of lines; None where there was none.
        counts: Of packed boards, by number: their scans, int16 of shape (scans, channels).
        damaged: Packets or lines that were damaged.
    """

    baud: int
    seconds: float
    bytes: int
    line_ends: int
    seen: Inspection
    form: Literal["packed", "lines"] | None
    boards: tuple[Identity, ...]
    readings: LineReadings | None
    counts: Mapping[int, NDArray[np.int16]]
    damaged: tuple[Fault, ...]


class PortListener:
    """Listens to an open port at one rate, for a board that prints lines of its own where there is one."""

    def __init__(self, source: OpenPort, now_s: Callable[[], float], baud: int, line_board: Board | None = None) -> None:
        source.set_baud(baud)
        self._source = source
        self._now_s = now_s
        self._baud = baud
        self._decoder = WireDecoder(line_board)
        self._transcript = Transcript()
        self._items: list[Item] = []
        self._seconds = 0.0

    def capture(self, seconds: float) -> PortCapture:
        """Go on listening for so long; all that came since the beginning.

        Raises:
            LinkLostError: The port went away.
        """
        began_s = self._now_s()
        while self._now_s() < began_s + seconds:
            data = self._source.read().data
            self._transcript.take(data)
            self._items += self._decoder.feed(data)
        self._seconds += self._now_s() - began_s
        readings = [item for item in self._items if isinstance(item, LineReadings)]
        return PortCapture(
            baud=self._baud,
            seconds=self._seconds,
            bytes=self._transcript.bytes,
            line_ends=self._transcript.line_ends,
            seen=self._transcript.inspect(lines=40),
            form=self._decoder.form,
            boards=_boards(self._items),
            readings=joined_lines(readings) if readings else None,
            counts=_counts(self._items),
            damaged=tuple(item for item in self._items if isinstance(item, Fault) and item.kind.is_damage),
        )


def listen(source: OpenPort, bauds: Iterable[int], now_s: Callable[[], float], *, text_too: bool = False) -> PortCapture | None:
    """Listen at one rate after the other; where text is enough, also stop at whatever text comes.

    Returns:
        What came; None where nothing made sense at any rate.

    Raises:
        LinkLostError: The port went away.
    """
    for baud in bauds:
        listener = PortListener(source, now_s, baud)
        capture = listener.capture(LISTEN_S)
        is_text = capture.seen.look == "text" and capture.line_ends >= FEWEST_LINES
        if capture.form is not None or (text_too and is_text):
            return listener.capture(MORE_S)
    return None


def _boards(items: list[Item]) -> tuple[Identity, ...]:
    boards = {item.number: item for item in items if isinstance(item, Identity)}
    outputs = [int(item.outputs.max()) + 1 for item in items if isinstance(item, LineReadings)]
    if outputs and not boards:
        channels = line_channels(max(outputs))
        boards[0] = Identity(number=0, name="", scan_interval_s=0.1, channels=channels, form="lines")
    return tuple(boards[number] for number in sorted(boards))


def _counts(items: list[Item]) -> dict[int, NDArray[np.int16]]:
    """Scans by board; those with as many channels as the last ones, should the board have restarted with others."""
    runs: dict[int, list[NDArray[np.int16]]] = {}
    for item in items:
        if isinstance(item, SampleRun):
            runs.setdefault(item.number, []).append(item.counts)
    return {
        number: np.concatenate([counts for counts in found if counts.shape[1] == found[-1].shape[1]])
        for number, found in runs.items()
    }
