"""Listens to a port until it is known which boards talk there, and at which baud rate."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Protocol

from monitor.values import Chunk, Identity, LineReadings
from monitor.wire import Item, WireDecoder
from monitor.wire.reading_lines import line_channels

LISTEN_S = 1.3
"""Time for each baud rate: a packed board says who it is once a second."""
MORE_S = 1.5
"""Time to hear all boards of the port, and all outputs of a line board that does not say how many it has."""


class Listened(Protocol):
    """An open port; see :class:`monitor.link.SerialSource`."""

    def read(self) -> Chunk:
        """What came since the last read."""

    def set_baud(self, baud: int) -> None:
        """Read on at another rate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What was heard on a port.

    Attributes:
        baud: The rate at which it made sense.
        boards: The boards, by number; a line board that never said who it is has an empty name.
    """

    baud: int
    boards: tuple[Identity, ...]


def listen(source: Listened, bauds: Iterable[int], now_s: Callable[[], float]) -> Heard | None:
    """Listen at one rate after the other.

    Args:
        source: An open port.
        bauds: Rates in the order to try.
        now_s: The host clock.

    Returns:
        What was heard; None where nothing made sense at any rate.

    Raises:
        LinkLostError: The port went away.
    """
    for baud in bauds:
        source.set_baud(baud)
        decoder = WireDecoder()
        items = _hear(source, decoder, now_s, LISTEN_S)
        if decoder.form is None:
            continue
        items += _hear(source, decoder, now_s, MORE_S)
        return Heard(baud=baud, boards=_boards(items))
    return None


def _hear(source: Listened, decoder: WireDecoder, now_s: Callable[[], float], seconds: float) -> list[Item]:
    items: list[Item] = []
    until_s = now_s() + seconds
    while now_s() < until_s:
        items += decoder.feed(source.read().data)
    return items


def _boards(items: list[Item]) -> tuple[Identity, ...]:
    boards = {item.number: item for item in items if isinstance(item, Identity)}
    outputs = [int(item.outputs.max()) + 1 for item in items if isinstance(item, LineReadings)]
    if outputs and not boards:
        channels = line_channels(max(outputs))
        boards[0] = Identity(number=0, name="", scan_interval_s=0.1, channels=channels, form="lines")
    return tuple(boards[number] for number in sorted(boards))
