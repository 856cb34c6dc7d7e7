"""Aggregates: the steady figures of about a fifth of a second."""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from monitor.values.powers import PowerFigures


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

    Aggregation by root of the mean of squares, as IEC 61000-4-30 section 4 has it. A line board gives none. Rows are windows in
    order of time, n of them; columns are districts, d of them. NaN stands for "no figure".

    Attributes:
        board: The board's name in the layout file.
        districts: Names of the columns.
        start_s: Shape (n,): where each window begins.
        end_s: Shape (n,): where each window ends.
        volts_rms: Shape (n, d), like everything below: RMS volts.
        amps_rms: RMS amps.
        volts_mean: Mean (DC) volts.
        amps_mean: Mean (DC) amps.
        watts: Real power P, mean of volts times amps; negative where power flows back or a sensor is reversed.
        volts_peak: Highest absolute volts.
        amps_peak: Highest absolute amps.
        frequency_hz: Shape (n,): mains frequency; NaN where there is no AC to measure it by.
        waveform: n tuples of d kinds.
        conduction_degrees: Conduction angle per half cycle, 0-180; NaN where the waveform is not phase-cut.
        volts_u95: Half width of the interval that holds the true RMS volts of the output in 95 cases of 100.
        amps_u95: The same of amps_rms, amps.
        watts_u95: The same of watts, watts.
        good: Boolean: False where a sensor is known to lie, so that no figure of this cell may be shown as good.
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
    waveform: tuple[tuple[WaveformKind, ...], ...]
    conduction_degrees: NDArray[np.float64]
    volts_u95: NDArray[np.float64]
    amps_u95: NDArray[np.float64]
    watts_u95: NDArray[np.float64]
    good: NDArray[np.bool_]

    def __len__(self) -> int:
        """How many rows."""
        return len(self.end_s)
