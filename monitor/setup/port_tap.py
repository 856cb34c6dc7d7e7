"""What a port says while a layout is being set up: boards, their figures now, and what a meter's reading is held against."""

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Board, LineMapping
from monitor.metering.calibration import Observed
from monitor.setup.calibration_flow import LINE_COUNT
from monitor.setup.draft import FoundBoard, SeenBoard
from monitor.values import Health, Identity, LineReadings
from monitor.wire import SampleRun, WireDecoder
from monitor.wire.inspection import Transcript, why_not
from monitor.wire.line_guess import guess_mapping
from monitor.wire.reading_lines import line_channels
from monitor.wire.thresholds import FEWEST_LINES

TAKEN_S = 2.0
"""What a meter is held against: a whole number of cycles at 50 and 60 Hz."""
FIGURE_S = 0.2
"""What is shown live."""
SILENT_AFTER_S = 1.0
FEWEST_LINE_READINGS = 4
MOVED_VOLTS, MOVED_WITHIN_S, MOVED_ALONE = 1.0, 3.0, 2.0
"""A throttle that somebody turns moves its output by more than this within so long, and by so many times any other that sags with it
(common practice, no published source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """A board as it stands.

    Attributes:
        board: Which.
        volts: RMS now, by pair; None where nothing came lately.
        amps: Likewise.
        seen: What a meter's reading is held against.
    """

    board: FoundBoard
    volts: tuple[float | None, ...]
    amps: tuple[float | None, ...]
    seen: SeenBoard


@dataclass(frozen=True, slots=True, kw_only=True)
class PortView:
    """A port as it stands.

    Attributes:
        port: Which.
        description: What is plugged in, as far as it says.
        sentence: What comes there, or why nothing.
        boards: Boards that were understood.
    """

    port: str
    description: str
    sentence: str
    boards: tuple[BoardView, ...] = ()


class PortTap:
    """Decodes what comes over one port.

    Args:
        port: Which.
        baud: At which rate it is read.
        known: The board there that prints lines of its own, where the layout says so.
        guesses: Whether lines that no one explained are read by a guess.
    """

    def __init__(self, port: str, baud: int, known: Board | None = None, *, guesses: bool = True) -> None:
        self._guesses = guesses and known is None
        self._port, self._baud = port, baud
        self._known = known
        self._lines: LineMapping | None = None if known is None else known.lines
        self._decoder = WireDecoder(known)
        self._transcript = Transcript()
        self._identities: dict[int, Identity] = {}
        self._supply_volts: dict[int, float | None] = {}
        self._scans: dict[int, deque[NDArray[np.int16]]] = {}
        self._readings: deque[tuple[float, LineReadings]] = deque()
        self._latest_s = -np.inf

    @property
    def is_understood(self) -> bool:
        """Whether a board was understood."""
        return bool(self._identities)

    @property
    def is_text(self) -> bool:
        """Whether lines of text come, whatever they say: then the rate is right."""
        return self._transcript.line_ends >= FEWEST_LINES and self._transcript.inspect().look == "text"

    def feed(self, data: bytes, now_s: float) -> None:
        """Take what came until now."""
        self._transcript.take(data)
        for item in self._decoder.feed(data):
            self._latest_s = now_s
            if isinstance(item, Identity):
                self._take_identity(item)
            elif isinstance(item, Health):
                self._supply_volts[item.number] = item.supply_volts
            elif isinstance(item, SampleRun) and item.number in self._identities:
                self._take_scans(item)
            elif isinstance(item, LineReadings):
                self._take_readings(item, now_s)
        while self._readings and now_s - self._readings[0][0] > TAKEN_S:
            self._readings.popleft()
        if self._guesses and not self._identities and self.is_text:
            self._guess()

    def view(self, now_s: float, description: str = "") -> PortView:
        """How it stands."""
        boards = tuple(self._board_view(identity, now_s) for _, identity in sorted(self._identities.items()))
        if boards:
            names = " and ".join(f'"{view.board.name or "without a name"}"' for view in boards)
            sentence = f"Board {names}, {boards[0].board.identity.form} form, {self._baud} baud."
            if now_s - self._latest_s > SILENT_AFTER_S:
                sentence += " Nothing comes just now: check its plug."
            elif self._lines is not None and self._known is None:
                sentence += " Its lines are read by a guess: compare volts and amps with a meter."
        else:
            sentence = why_not(self._transcript.inspect(), self._port, self._baud, self._known)
        return PortView(port=self._port, description=description, sentence=sentence, boards=boards)

    def _guess(self) -> None:
        guess = guess_mapping(self._transcript.inspect(lines=40).lines)
        if guess is not None:
            self._lines = guess.lines
            self._decoder = WireDecoder(Board(name="here", lines=guess.lines))
            self._take_identity(_unnamed(len(guess.lines.output)))

    def _take_identity(self, identity: Identity) -> None:
        before = self._identities.get(identity.number)
        if before is None or len(before.channels) != len(identity.channels):
            self._scans[identity.number] = deque()
        self._identities[identity.number] = identity

    def _take_scans(self, run: SampleRun) -> None:
        identity, kept = self._identities[run.number], self._scans[run.number]
        if run.counts.shape[1] != len(identity.channels):
            return
        kept.append(run.counts)
        wanted = round(TAKEN_S / identity.scan_interval_s)
        while sum(len(each) for each in kept) - len(kept[0]) >= wanted:
            kept.popleft()

    def _take_readings(self, readings: LineReadings, now_s: float) -> None:
        self._readings.append((now_s, readings))
        outputs = int(readings.outputs.max()) + 1
        known = self._identities.get(0)
        if known is None or len(known.channels) < 2 * outputs:
            self._identities[0] = replace(_unnamed(outputs), name="" if known is None else known.name)

    def _board_view(self, identity: Identity, now_s: float) -> BoardView:
        board = FoundBoard(name=identity.name, port=self._port, baud=self._baud, identity=identity, lines=self._lines)
        channels, shown = self._line_channels(identity) if identity.form == "lines" else self._packed_channels(identity)
        if now_s - self._latest_s > SILENT_AFTER_S:
            channels, shown = [None] * len(channels), {}
        return BoardView(
            board=board,
            volts=tuple(shown.get(volts) for volts, _ in board.pairs),
            amps=tuple(shown.get(amps) for _, amps in board.pairs),
            seen=SeenBoard(channels=tuple(channels), supply_volts=self._supply_volts.get(identity.number)),
        )

    def _packed_channels(self, identity: Identity) -> tuple[list[Observed | None], dict[int, float]]:
        kept, empty = self._scans[identity.number], [None] * len(identity.channels)
        if not kept:
            return list(empty), {}
        counts = np.concatenate(kept)
        wanted, few = round(TAKEN_S / identity.scan_interval_s), round(FIGURE_S / identity.scan_interval_s)
        shown = {
            k: float(np.sqrt(np.mean(((counts[-few:, k] - channel.zero_counts) * channel.units_per_count) ** 2)))
            for k, channel in enumerate(identity.channels)
        }
        if len(counts) < wanted:
            return list(empty), shown
        return [Observed.of(counts[-wanted:, k]) for k in range(counts.shape[1])], shown

    def _line_channels(self, identity: Identity) -> tuple[list[Observed | None], dict[int, float]]:
        observed: list[Observed | None] = []
        shown: dict[int, float] = {}
        for channel in range(len(identity.channels)):
            figures = np.concatenate(
                [(r.amps_rms if channel % 2 else r.volts_rms)[r.outputs == channel // 2] for _, r in self._readings]
                or [np.zeros(0)]
            )
            observed.append(Observed.of(figures / LINE_COUNT) if len(figures) >= FEWEST_LINE_READINGS else None)
            if len(figures):
                shown[channel] = float(figures[-1])
        return observed, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """A pair whose volts moved.

    Attributes:
        board: Its board's port and number.
        pair: Counted from 1.
        volts: From and to; None where several moved together.
    """

    board: tuple[str, int]
    pair: int
    volts: tuple[float, float] | None


class MovementWatch:
    """Notices which throttle somebody turns."""

    def __init__(self) -> None:
        self._past: dict[tuple[str, int, int], deque[tuple[float, float]]] = {}
        self.latest: Movement | None = None

    def take(self, ports: Mapping[str, PortView], now_s: float) -> None:
        """Look at how the ports stand now."""
        moved: list[tuple[float, Movement]] = []
        for (port, number, pair), volts in _volts_now(ports):
            past = self._past.setdefault((port, number, pair), deque())
            past.append((now_s, volts))
            while now_s - past[0][0] > MOVED_WITHIN_S:
                past.popleft()
            other = max((each for _, each in past), key=lambda each: abs(volts - each))
            moved.append((abs(volts - other), Movement(board=(port, number), pair=pair, volts=(other, volts))))
        moved.sort(key=lambda each: each[0], reverse=True)
        if not moved or moved[0][0] < MOVED_VOLTS:
            if self.latest is not None and self.latest.volts is None:
                self.latest = None  # several moved together, and that is over
            return
        alone = len(moved) == 1 or moved[0][0] >= MOVED_ALONE * moved[1][0]
        self.latest = moved[0][1] if alone else replace(moved[0][1], volts=None)


def _volts_now(ports: Mapping[str, PortView]) -> Iterator[tuple[tuple[str, int, int], float]]:
    for port, view in ports.items():
        for board in view.boards:
            for pair, volts in enumerate(board.volts, 1):
                if volts is not None:
                    yield (port, board.board.identity.number, pair), volts


def _unnamed(outputs: int) -> Identity:
    """A line board that does not say who it is."""
    return Identity(number=0, name="", scan_interval_s=0.1, channels=line_channels(outputs), form="lines")
