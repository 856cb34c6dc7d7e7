"""Readings as a line board sends them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReadings:
    """Readings of a line board in the order they came, n of them.

    Attributes:
        times_ms: uint32, shape (n,): board time as sent.
        outputs: Shape (n,): which output.
        volts_rms: Shape (n,).
        amps_rms: Shape (n,).
        watts: Shape (n,); NaN where not sent.
    """

    times_ms: NDArray[np.int64]
    outputs: NDArray[np.int64]
    volts_rms: NDArray[np.float64]
    amps_rms: NDArray[np.float64]
    watts: NDArray[np.float64]
