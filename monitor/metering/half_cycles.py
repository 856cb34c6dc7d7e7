"""Sums over half cycles: what all windows are put together from."""

from collections.abc import Sequence
from dataclasses import dataclass

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
            number=np.concatenate([part.number for part in parts]),
            start_s=np.concatenate([part.start_s for part in parts]),
            end_s=np.concatenate([part.end_s for part in parts]),
            hertz=np.concatenate([part.hertz for part in parts]),
            means=np.concatenate([part.means for part in parts], axis=1),
            peaks=np.concatenate([part.peaks for part in parts], axis=1),
            clipped=np.concatenate([part.clipped for part in parts], axis=1),
            conduction=np.concatenate([part.conduction for part in parts]),
            steep=np.concatenate([part.steep for part in parts]),
            edge_doubt=np.concatenate([part.edge_doubt for part in parts], axis=1),
        )

    def sliced(self, start: int, stop: int | None = None) -> "HalfCycles":
        """Some of them."""
        some = slice(start, stop)
        return HalfCycles(
            number=self.number[some],
            start_s=self.start_s[some],
            end_s=self.end_s[some],
            hertz=self.hertz[some],
            means=self.means[:, some],
            peaks=self.peaks[:, some],
            clipped=self.clipped[:, some],
            conduction=self.conduction[some],
            steep=self.steep[some],
            edge_doubt=self.edge_doubt[:, some],
        )

    def where(self, keep: NDArray[np.bool_]) -> "HalfCycles":
        """Only those for which keep, shape (h,), is True."""
        return HalfCycles(
            number=self.number[keep],
            start_s=self.start_s[keep],
            end_s=self.end_s[keep],
            hertz=self.hertz[keep],
            means=self.means[:, keep],
            peaks=self.peaks[:, keep],
            clipped=self.clipped[:, keep],
            conduction=self.conduction[keep],
            steep=self.steep[keep],
            edge_doubt=self.edge_doubt[:, keep],
        )
