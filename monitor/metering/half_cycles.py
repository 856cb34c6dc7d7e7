"""Sums over half cycles: what all windows are put together from."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfCycles:
    """Half cycles in order of time, h of them; columns are districts, d of them. NaN where there is no channel.

    Attributes:
        number: Shape (h,): counts on for ever, one a half cycle.
        start_s: Shape (h,).
        end_s: Shape (h,).
        hertz: Shape (h,): frequency, NaN where unknown.
        means: Shape (6, h, d): means of volts, amps, volts squared, amps squared, far volts squared, and volts times amps.
        peaks: Shape (4, h, d): highest volts, highest amps, lowest volts, lowest amps.
        clipped: Shape (2, h, d): samples of volts and of amps that stood at the end of the converter's range.
        conduction: Shape (h, d): conduction angle as share of the half cycle; NaN where no edges were found.
        steep: Shape (h, d): 1 where the volts have a true edge, else 0.
        edge_doubt: Shape (2, h, d): what the means of volts squared and of amps squared may be off, steep edges lying anywhere between
            the bounds that samples set them.
    """

    number: NDArray[np.int64]
    start_s: Floats
    end_s: Floats
    hertz: Floats
    means: Floats
    peaks: Floats
    clipped: Floats
    conduction: Floats
    steep: Floats
    edge_doubt: Floats

    def __len__(self) -> int:
        """How many half cycles."""
        return len(self.number)

    @property
    def peak_sizes(self) -> Floats:
        """Highest absolute volts and amps, shape (2, h, d)."""
        return np.maximum(self.peaks[:2], -self.peaks[2:])

    @staticmethod
    def joined(parts: Sequence["HalfCycles"]) -> "HalfCycles":
        """Some and then others, at least one part."""
        if len(parts) == 1:
            return parts[0]
        return HalfCycles(
            **{name: np.concatenate([getattr(part, name) for part in parts], axis=axis) for name, axis in _AXES.items()}
        )

    def sliced(self, start: int, stop: int | None = None) -> "HalfCycles":
        """Some of them."""
        return self._some(slice(start, stop))

    def where(self, keep: NDArray[np.bool_]) -> "HalfCycles":
        """Only those for which keep, shape (h,), is True."""
        return self._some(keep)

    def _some(self, which: slice | NDArray[np.bool_]) -> "HalfCycles":
        return HalfCycles(**{name: getattr(self, name)[(slice(None),) * axis + (which,)] for name, axis in _AXES.items()})


_AXES = {each.name: int(each.name in ("means", "peaks", "clipped", "edge_doubt")) for each in fields(HalfCycles)}
"""Which axis of each figure counts the half cycles."""
