"""Readings: what the meter makes of the samples, cycle by cycle and over a fifth of a second, and what line boards send."""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerFigures:
    """What readings and aggregates have in common.

    Rows are windows in order of time, n of them; columns are districts, d of them. NaN stands for "no figure".

    Attributes:
        board: The board's name in the layout file.
        districts: Names of the columns.
        start_s: Shape (n,): where each window begins.
        end_s: Shape (n,): where each window ends; its figures are known from this moment.
        volts_rms: Shape (n, d): root mean square over the window, like all of shape (n, d) below.
        amps_rms: RMS amps.
        volts_mean: Mean (DC) volts; NaN from a line board, like amps_mean and the peaks.
        amps_mean: Mean (DC) amps.
        watts: Real power P, mean of volts times amps; negative where power flows back or a sensor is reversed.
        volts_peak: Highest absolute volts in the window.
        amps_peak: Highest absolute amps in the window.
        frequency_hz: Shape (n,): mains frequency that the windows are locked to; NaN where there is none.
    """

    board: str
    districts: tuple[str, ...]
    start_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    volts_rms: NDArray[np.float64]
    amps_rms: NDArray[np.float64]
    volts_mean: NDArray[np.float64]
    amps_mean: NDArray[np.float64]
    watts: NDArray[np.float64]
    volts_peak: NDArray[np.float64]
    amps_peak: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]

    def __len__(self) -> int:
        """How many rows."""
        return len(self.end_s)

    @property
    def volt_amperes(self) -> Floats:
        """Apparent power S = Urms x Irms (IEEE 1459, single phase)."""
        return self.volts_rms * self.amps_rms

    @property
    def non_active_va(self) -> Floats:
        """Non-active power N = sqrt(S2 - P2) (IEEE 1459)."""
        return np.sqrt(np.maximum(0.0, (self.volts_rms * self.amps_rms) ** 2 - self.watts**2))

    @property
    def volts_crest(self) -> Floats:
        """Peak over RMS of volts; NaN where RMS is 0."""
        crest = np.full(np.shape(self.volts_rms), np.nan)
        np.divide(self.volts_peak, self.volts_rms, out=crest, where=self.volts_rms > 0)
        return crest


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBlock(PowerFigures):
    """One-cycle readings of all districts of one board, refreshed every half cycle (or as a line board sends them).

    Attributes:
        far_volts_rms: RMS volts at the far end of the district; NaN where no channel measures it.
        good: Boolean, shape (n, d): False where a sensor is known to lie (clipped, stuck, crossed ...) so that the figures may
            not be shown as good; a clipped figure is a lower bound. None where nothing is known against any.
        amps_clipped: Boolean, shape (n, d): amps stood at the end of the sensor's range: they, and all that is made of them, are lower
            bounds. None where it is not known.
        volts_clipped: The same of volts.
        seconds: Shape (n,): the seconds of the board's own time that each reading stands for, so that energies are the same however a host's
            clock saw the bytes come; what is not given is each window less the one before it in the block.
        u95: Shape (n, d, 3): half widths of the intervals that hold true volts, amps and watts in 95 cases of 100. None where not asked.
    """

    far_volts_rms: NDArray[np.float64]
    good: NDArray[np.bool_] | None = None
    amps_clipped: NDArray[np.bool_] | None = None
    volts_clipped: NDArray[np.bool_] | None = None
    u95: NDArray[np.float64] | None = None
    seconds: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        """Fill in what each reading stands for."""
        if len(self.seconds) != len(self.end_s):
            begins_s = np.maximum(self.start_s, np.concatenate([self.start_s[:1], self.end_s[:-1]]))
            object.__setattr__(self, "seconds", np.maximum(0.0, self.end_s - begins_s))

    def where(self, keep: NDArray[np.bool_]) -> "ReadingBlock":
        """Only those rows for which keep, shape (n,), is True."""
        arrays = {name: figures[keep] for name in _ARRAYS if (figures := getattr(self, name)) is not None}
        return replace(self, **arrays)


def joined_readings(blocks: Sequence[ReadingBlock]) -> list[ReadingBlock]:
    """Blocks of one board that follow each other, in one, where nothing is known against any of their figures."""
    if len(blocks) < 2 or any(getattr(block, mark) is not None for block in blocks for mark in _OPTIONAL):
        return list(blocks)
    arrays = {name: np.concatenate([getattr(block, name) for block in blocks]) for name in _ARRAYS if name not in _OPTIONAL}
    return [ReadingBlock(board=blocks[0].board, districts=blocks[0].districts, **arrays)]


_ARRAYS = tuple(each.name for each in fields(ReadingBlock) if each.name not in ("board", "districts"))
_OPTIONAL = ("good", "amps_clipped", "volts_clipped", "u95")


class WaveformKind(Enum):
    """What an output gives; the value is the word for screens and files."""

    OFF = "off"
    SINE = "sine"
    PHASE_CUT = "phase-cut"
    DC = "dc"
    RECTIFIED = "rectified"
    PULSES = "pulses"


@dataclass(frozen=True, slots=True, kw_only=True)
class AggregateBlock(PowerFigures):
    """Figures of all districts of one board over 10 cycles (50 Hz) or 12 cycles (60 Hz), one after the other without overlap.

    Aggregation by root of the mean of squares, as IEC 61000-4-30 section 4 has it. A line board gives none.

    Attributes:
        waveform: n tuples of d kinds.
        conduction_degrees: Conduction angle per half cycle, 0-180; NaN where the waveform is not phase-cut.
        volts_u95: Half width of the interval that holds the true RMS volts of the output in 95 cases of 100.
        amps_u95: The same of amps_rms, amps.
        watts_u95: The same of watts, watts.
        good: Boolean: False where a sensor is known to lie, so that no figure of this cell may be shown as good.
        volts_clipped: Boolean: volts stood at the end of the sensor's range, so that they and all that is made of them are lower bounds.
        amps_clipped: The same of amps.
    """

    waveform: tuple[tuple[WaveformKind, ...], ...]
    conduction_degrees: NDArray[np.float64]
    volts_u95: NDArray[np.float64]
    amps_u95: NDArray[np.float64]
    watts_u95: NDArray[np.float64]
    good: NDArray[np.bool_]
    volts_clipped: NDArray[np.bool_]
    amps_clipped: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReadings:
    """Readings of a line board in the order they came, n of them.

    Attributes:
        times_ms: uint32, shape (n,): board time as sent; of a board without a clock, the time by its usual interval.
        outputs: Shape (n,): which output.
        volts_rms: Shape (n,).
        amps_rms: Shape (n,).
        watts: Shape (n,); NaN where not sent.
        ends: Shape (n,): byte position in the stream just after the line of each.
    """

    times_ms: NDArray[np.int64]
    outputs: NDArray[np.int64]
    volts_rms: NDArray[np.float64]
    amps_rms: NDArray[np.float64]
    watts: NDArray[np.float64]
    ends: NDArray[np.int64]


def joined_lines(blocks: Sequence[LineReadings]) -> LineReadings:
    """Blocks that follow each other, at least one, as one."""
    if len(blocks) == 1:
        return blocks[0]
    names = [each.name for each in fields(LineReadings)]
    return LineReadings(**{name: np.concatenate([getattr(block, name) for block in blocks]) for name in names})
