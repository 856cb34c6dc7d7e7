"""Disturbances of the volts: dips, swells and interruptions."""

from dataclasses import dataclass
from typing import Literal

DisturbanceKind = Literal["dip", "swell", "interruption"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """One disturbance in one district, in the sense of IEC 61000-4-30 section 5.4 and 5.5; the same id comes again at its end.

    A dip that falls below the interruption's limit becomes an interruption under the same id.

    Attributes:
        id: Counts up within a board's stream.
        board: The board that measured it.
        district: Where.
        kind: What.
        start_s: Middle of the first one-cycle window beyond the threshold.
        end_s: Middle of the first one-cycle window back within threshold and hysteresis; None while it goes on.
        extreme_volts: Residual volts of a dip or interruption (the lowest one-cycle RMS), highest one-cycle RMS of a swell.
        reference_volts: The sliding reference when it began.
    """

    id: int
    board: str
    district: str
    kind: DisturbanceKind
    start_s: float
    end_s: float | None
    extreme_volts: float
    reference_volts: float

    @property
    def depth(self) -> float:
        """Share of the reference that was lost (dip) or gained (swell), 0-1."""
        return abs(self.reference_volts - self.extreme_volts) / self.reference_volts
