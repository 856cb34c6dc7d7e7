"""Zero and gain of every channel against a meter, one question at a time; slips are refused while the meter is still in the hand."""

import math
from collections.abc import Mapping, Sequence

from monitor.errors import CalibrationError
from monitor.layout import ChannelCalibration, District, Layout
from monitor.layout.edit import set_calibration
from monitor.metering.calibration import CalibrationFit, Observed, fit_calibration
from monitor.setup.draft import FoundBoard, SeenBoard, SetupDraft
from monitor.setup.interview import Flow
from monitor.setup.questions import CALIBRATION, Answer, SetupQuestion
from monitor.values import Channel

LINE_COUNT = 0.01
"""Volts or amps: what one count stands for where a board sends finished readings, which most print with two decimals."""
SAME_PLACE = 0.1
"""A pair that shows a meter's reading to within this share, where the one asked about does not, is where the meter may be."""
UNIT_NAMES = {"V": "volts", "A": "amps"}


class CalibrationFlow:
    """Asks for zero and gain.

    Attributes:
        found: Calibrations by board and channel.
    """

    def __init__(self, draft: SetupDraft, layout: Layout) -> None:
        self._boards = {board.name: board for board in draft.boards}
        self._seen = draft.seen
        self._layout = layout
        self.found: dict[tuple[str, int], ChannelCalibration] = {}

    def flow(self) -> Flow:
        """All of it; every part may be left out."""
        boards = [self._boards[board.name] for board in self._layout.board if board.name in self._boards]
        (wanted,) = yield [
            SetupQuestion(key="calibrate", chapter=CALIBRATION, card="calibrate", text="Take zero and gain with a meter now?",
                          takes="yes or no", proposal="no",
                          check=lambda yes: _check_present(boards) if yes else None)
        ]  # fmt: skip
        for board in boards if wanted else ():
            yield from self._board(board, self._layout.districts_of_board(board.name))

    def text(self, layout_text: str) -> str:
        """A layout's text with what was found."""
        for (board, channel), found in self.found.items():
            layout_text = set_calibration(layout_text, board, channel, found)
        return layout_text

    def _board(self, board: FoundBoard, districts: Sequence[District]) -> Flow:
        channels = [
            (channel, district.name) for district in districts for channel in (district.volts_channel, district.amps_channel)
        ]
        zero_key = f"zero.{board.name}"
        text = (
            f"Switch off every output that board {board.name} measures and take every train off. Is nothing flowing? "
            "('no' leaves this board as it is)"
        )
        (is_zero,) = yield [
            SetupQuestion(key=zero_key, chapter=CALIBRATION, card=zero_key, text=text, takes="look", place=(board.name, 1),
                          check=lambda yes: self._check_zeros(board, zero_key, channels) if yes else None)
        ]  # fmt: skip
        for channel, district in channels if is_zero else ():
            yield from self._channel(board, zero_key, channel, district)

    def _channel(self, board: FoundBoard, zero_key: str, channel: int, district: str) -> Flow:
        key = f"gain.{board.name}.{channel}"
        pair = next((n for n, both in enumerate(board.pairs, 1) if channel in both), 0)
        unit = board.identity.channels[channel].quantity
        how = (
            "across its two rails, on the volts range" if unit == "V" else "in series with one feeder, on the amps range and jack"
        )
        (reading,) = yield [
            SetupQuestion(
                key=key, chapter=CALIBRATION, card=key, takes="figure", unit=unit, limits=(0.01, 1000), optional=True,
                place=(board.name, pair),
                text=f"What does the meter read now: {UNIT_NAMES[unit]} of {district} (empty: leave its gain as it is)?",
                note=f"Meter {how}; a lamp as a steady load, the throttle near the highest that the district ever sees.",
                check=lambda reading: self._check_gain(board, zero_key, key, channel, reading),
            )
        ]  # fmt: skip
        known = [] if reading is None else [(reading, self._observed(key, channel))]
        fit = fit_calibration(channel_of(board, channel), self._observed(zero_key, channel), known)
        unit_counts = LINE_COUNT if board.identity.form == "lines" else 1.0
        supply_volts = self._seen[key].supply_volts if key in self._seen else None
        self.found[board.name, channel] = kept_calibration(fit, unit_counts, supply_volts)

    def _check_zeros(self, board: FoundBoard, key: str, channels: Sequence[tuple[int, str]]) -> None:
        for channel, district in channels:
            try:
                fit_calibration(channel_of(board, channel), self._observed(key, channel), [])
            except CalibrationError as error:
                unit = UNIT_NAMES[board.identity.channels[channel].quantity]
                raise CalibrationError(f"{district}, {unit} (channel {channel}): {error}") from error

    def _check_gain(self, board: FoundBoard, zero_key: str, key: str, channel: int, reading: Answer) -> None:
        if not isinstance(reading, float):
            return
        try:
            known = [(reading, self._observed(key, channel))]
            fit_calibration(channel_of(board, channel), self._observed(zero_key, channel), known)
        except CalibrationError as error:
            raise CalibrationError(f"{error}{self._elsewhere(board, zero_key, key, channel, reading)}") from error

    def _elsewhere(self, board: FoundBoard, zero_key: str, key: str, channel: int, reading: float) -> str:
        """Another pair that shows what the meter does."""
        unit = board.identity.channels[channel].quantity
        for pair, each in enumerate(board.pairs, 1):
            other = each["VA".index(unit)]
            if other == channel or _seen(self._seen, key, other) is None or _seen(self._seen, zero_key, other) is None:
                continue
            shown = shown_rms(channel_of(board, other), self._observed(zero_key, other), self._observed(key, other))
            if abs(shown - reading) <= SAME_PLACE * reading:
                return f". Pair {pair} shows {shown:.2f} {unit}: is the meter there, or is this the wrong channel?"
        return ""

    def _observed(self, key: str, channel: int) -> Observed:
        found = _seen(self._seen, key, channel)
        if found is None:
            raise CalibrationError("the board sent nothing just then: check its plug and cable, then answer again")
        return found


def _check_present(boards: Sequence[FoundBoard]) -> None:
    if not boards:
        raise CalibrationError("nothing has come from a board of this layout yet: wait a moment, or check plug and cable")


def channel_of(board: FoundBoard, channel: int) -> Channel:
    """A channel as calibration counts it: readings of a line board in hundredths."""
    described = board.identity.channels[channel]
    if board.identity.form == "packed":
        return described
    return Channel(quantity=described.quantity, skew_s=0.0, units_per_count=LINE_COUNT, zero_counts=0.0)


def kept_calibration(fit: CalibrationFit, unit_counts: float, supply_volts: float | None) -> ChannelCalibration:
    """What the layout file keeps; a zero alone says nothing of the scale.

    Args:
        fit: What was fitted.
        unit_counts: What a count is in the layout file: 1, or for a line board the volts or amps that one stands for.
        supply_volts: The board's own supply meanwhile; None where it does not measure it.
    """
    zero = fit.zero * unit_counts
    if math.isnan(fit.gain_uncertainty):
        return ChannelCalibration(zero=zero)
    return ChannelCalibration(gain=fit.gain, zero=zero, gain_uncertainty=fit.gain_uncertainty, supply_volts=supply_volts)


def shown_rms(channel: Channel, at_zero: Observed, seen: Observed) -> float:
    """What a channel showed, RMS in its unit, by its own scale and a measured zero."""
    square = seen.spread_counts**2 + (seen.mean_counts - at_zero.mean_counts) ** 2
    return math.sqrt(square) * abs(channel.units_per_count)


def _seen(seen: Mapping[str, SeenBoard], key: str, channel: int) -> Observed | None:
    channels = seen[key].channels if key in seen else ()
    return channels[channel] if channel < len(channels) else None
