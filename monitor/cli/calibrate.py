"""``pilotlamp calibrate``: zero and gain of each channel against a meter, written into the layout file."""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from monitor.cli.prompts import answered
from monitor.errors import CalibrationError, LayoutError, LinkLostError
from monitor.layout import Board, ChannelCalibration, Layout, load_layout
from monitor.layout.edit import change_layout, set_calibration, spare_path
from monitor.link import HostClock, SerialSource
from monitor.metering.calibration import CalibrationFit, Observed, fit_calibration
from monitor.metering.uncertainty import decimals_supported
from monitor.planning.cautions import METER_CAUTIONS
from monitor.setup import port_tap
from monitor.setup.calibration_flow import LINE_COUNT, kept_calibration
from monitor.setup.port_tap import BoardView, PortTap
from monitor.setup.questions import figure_of, is_yes
from monitor.values import Channel, Identity
from monitor.wire.reading_lines import OUTPUTS_LIMIT, line_channels
from monitor.words.figures import percent

PATIENCE_S = 5.0
LET_GO_S = 0.3
READINGS = (-1000.0, 1000.0)
"""Of a meter, in either direction."""
Found = TypeVar("Found")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="LAYOUT.toml", help="the layout file; it is kept as LAYOUT.toml.before")
    parser.add_argument("--board", metavar="NAME", help="which board, where the layout file has several")
    parser.add_argument("--channel", type=int, action="append", metavar="N", help="only this channel; may be given again")


def run(args: argparse.Namespace) -> int:
    """Ask, fit, show, write."""
    layout = load_layout(args.file)
    board = _board(layout, args.board, args.file)
    wanted = _channels(layout, board, args.channel)
    bench = CalibrationBench(board)
    print(" ".join(METER_CAUTIONS))
    try:
        identity = bench.open()
        if identity.form == "lines":
            print("This board sends finished readings: a count is a hundredth of a volt or an amp here.")
        for channel, label in wanted:
            fit = _calibrate(bench, identity, channel, label)
            if fit is not None and _yes("Write this into the layout file? [yes/no] "):
                _write(args.file, board.name, channel, kept_calibration(fit, bench.unit_counts, bench.supply_volts))
    finally:
        bench.close()
    return 0


class CalibrationBench:
    """Looks at one board's counts while a person holds the meter.

    Attributes:
        supply_volts: What the board last said of its own supply; None where it does not measure it.
        unit_counts: What a count is in the layout file: 1, or for a line board the volts or amps that one stands for.
    """

    def __init__(self, board: Board) -> None:
        self._board = board
        self._clock = HostClock()
        self._source = SerialSource(board.port or "", board.baud, self._clock)
        self._tap = PortTap(board.port or "", board.baud, board if board.lines is not None else None, guesses=False)
        self.unit_counts = 1.0
        self.supply_volts: float | None = None

    def open(self) -> Identity:
        """Open the port and wait for the board to say who it is.

        Raises:
            LinkUnavailableError: The port will not open.
            LinkLostError: Nothing understandable comes.
        """
        self._source.open()
        identity = self._until(0.0, lambda view: view.board.identity, "")
        if identity.form == "packed":
            return identity
        self.unit_counts = LINE_COUNT
        channels = tuple(replace(channel, units_per_count=LINE_COUNT) for channel in line_channels(OUTPUTS_LIMIT))
        return replace(identity, channels=channels)

    def look(self, channel: int) -> Observed:
        """The channel over the next two seconds; what waited in the port while a person was typing goes by first."""

        def seen(view: BoardView) -> Observed | None:
            self.supply_volts = view.seen.supply_volts
            return view.seen.channels[channel] if channel < len(view.seen.channels) else None

        return self._until(LET_GO_S + port_tap.TAKEN_S, seen, "" if self.unit_counts == 1.0 else f"output {channel // 2} of ")

    def close(self) -> None:
        """Give the port back."""
        self._source.close()

    def _until(self, seconds: float, found: Callable[[BoardView], Found | None], of: str) -> Found:
        """What is found of the board once so much time has gone by."""
        from_s = self._clock.now_s() + seconds
        while (now_s := self._clock.now_s()) < from_s + PATIENCE_S:
            self._tap.feed(self._source.read().data, now_s)
            for view in self._tap.view(now_s).boards if now_s >= from_s else ():
                is_it = view.board.identity.form == "lines" or view.board.identity.number == self._board.number
                result = found(view) if is_it else None
                if result is not None:
                    return result
        raise LinkLostError(
            f"{self._board.port}: nothing usable came from {of}board number {self._board.number} for {PATIENCE_S:.0f} s: check that it is "
            "plugged in and the baud is right",
            port=str(self._board.port),
        )


def _board(layout: Layout, name: str | None, file: Path) -> Board:
    known = [board for board in layout.board if name in (None, board.name)]
    if len(known) != 1:
        names = ", ".join(board.name for board in layout.board) or "none"
        raise LayoutError(f"say which board with --board, one of: {names}", source=str(file))
    if known[0].port is None:
        raise LayoutError(
            "calibrating needs the board's port: add it", source=str(file), table=f'board "{known[0].name}"', key="port"
        )
    return known[0]


def _channels(layout: Layout, board: Board, only: Sequence[int] | None) -> list[tuple[int, str]]:
    """Channels and what they measure."""
    found: list[tuple[int, str]] = []
    for district in layout.districts_of_board(board.name):
        found.append((district.volts_channel, f"volts of {district.name}"))
        found.append((district.amps_channel, f"amps of {district.name}"))
        if district.far_volts_channel is not None:
            found.append((district.far_volts_channel, f"volts at the far end of {district.name}"))
    chosen = [(channel, label) for channel, label in sorted(found) if only is None or channel in only]
    if not chosen:
        raise LayoutError("no district of the layout file uses such a channel: check --channel", table=f'board "{board.name}"')
    return chosen


def _calibrate(bench: CalibrationBench, identity: Identity, channel: int, label: str) -> CalibrationFit | None:
    if channel >= len(identity.channels):
        print(f"Channel {channel}, {label}: this board has {len(identity.channels)} channels only; left out.")
        return None
    unit = identity.channels[channel].quantity
    print(f"\nChannel {channel}, {label}.")
    if not _yes("Switch the output off and take every train off. Is nothing flowing? [yes, or no to leave this channel out] "):
        return None
    at_zero = bench.look(channel)
    print(f"  at zero: {at_zero.mean_counts:.2f} counts, noise {at_zero.spread_counts:.2f}")
    known: list[tuple[float, Observed]] = []
    fit = _fitted(identity.channels[channel], at_zero, known)
    if fit is None:
        return None
    while (reading := _number(f"Steady reading of the meter in {unit} (empty when done): ", unit)) is not None:
        # What is not usable is reported before the meter leaves its place, and left out.
        both = [*known, (reading, bench.look(channel))]
        with_it = _fitted(identity.channels[channel], at_zero, both)
        if with_it is not None:
            known, fit = both, with_it
        elif known:
            print("  the readings before stay; leave this channel out and begin again if one of them was wrong")
    _show(fit, [reading for reading, _ in known], unit)
    return fit


def _fitted(channel: Channel, at_zero: Observed, known: Sequence[tuple[float, Observed]]) -> CalibrationFit | None:
    try:
        return fit_calibration(channel, at_zero, known)
    except CalibrationError as error:
        print(f"  not usable: {error}")
        return None


def _show(fit: CalibrationFit, readings: Sequence[float], unit: str) -> None:
    print(f"  zero {fit.zero:+.2f} counts (± {fit.zero_uncertainty_counts:.2f}), gain {fit.gain:.4f}", end="")
    print(f" (± {percent(fit.gain_uncertainty, 1)})" if readings else " (not measured: zero only)")
    for reading, residual in zip(readings, fit.residuals, strict=True):
        digits = max(2, decimals_supported(fit.gain_uncertainty * abs(reading)))
        print(
            f"    meter {reading:.{digits}f} {unit}, board {abs(reading) + residual:.{digits}f} {unit}, off by {residual:+.{digits}f}"
        )


def _write(file: Path, board: str, channel: int, calibration: ChannelCalibration) -> None:
    # Several channels are written one after the other: kept is the file as it was before the first.
    first = not spare_path(file).exists()
    change_layout(file, lambda text: set_calibration(text, board, channel, calibration), spare=first)
    print(f"  written into {file}")


def _yes(prompt: str) -> bool:
    return answered(prompt, lambda typed: bool(typed) and is_yes(typed))


def _number(prompt: str, unit: str) -> float | None:
    return answered(prompt, lambda typed: figure_of(typed, unit, READINGS) if typed else None)
