"""Readings as a line board sends them."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray


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
