"""Typical draws, for loads that nobody has measured yet.

All of these are common practice, no published source: starting points to be replaced by a measurement ("learn this engine's draw").
"""

from dataclasses import dataclass
from typing import Literal

COMMON_PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True, kw_only=True)
class TypicalDraw:
    """One row of the table.

    Attributes:
        name: What it is, in the trade's general words.
        kind: As in the layout file.
        low_amps: Lower end of what is usual.
        high_amps: Upper end.
        starting_factor: Starting draw over running draw.
        source: Where the figures come from.
    """

    name: str
    kind: Literal["locomotive", "lighting", "accessory"]
    low_amps: float
    high_amps: float
    starting_factor: float = 1.0
    source: str = COMMON_PRACTICE

    @property
    def running_amps(self) -> float:
        """A figure to plan with: three quarters of the way up the range."""
        return self.low_amps + 0.75 * (self.high_amps - self.low_amps)


TYPICAL_DRAWS = (
    TypicalDraw(name="engine, one open-frame motor", kind="locomotive", low_amps=1.5, high_amps=2.5, starting_factor=1.75),
    TypicalDraw(name="engine, two open-frame motors", kind="locomotive", low_amps=3.0, high_amps=5.0, starting_factor=1.75),
    TypicalDraw(name="engine, can motor", kind="locomotive", low_amps=0.5, high_amps=1.5, starting_factor=1.5),
    TypicalDraw(
        name="engine, two can motors, sound and smoke", kind="locomotive", low_amps=1.5, high_amps=3.0, starting_factor=1.5
    ),
    TypicalDraw(name="smoke unit", kind="locomotive", low_amps=0.3, high_amps=1.0),
    TypicalDraw(name="lit car, two filament lamps", kind="lighting", low_amps=0.2, high_amps=0.5, starting_factor=3.0),
    TypicalDraw(name="lit car, light-emitting diodes", kind="lighting", low_amps=0.02, high_amps=0.08),
    TypicalDraw(name="street or building lamp, filament", kind="lighting", low_amps=0.05, high_amps=0.25, starting_factor=3.0),
    TypicalDraw(name="solenoid switch machine, while it throws", kind="accessory", low_amps=1.5, high_amps=4.0),
    TypicalDraw(name="motor-driven accessory", kind="accessory", low_amps=0.5, high_amps=1.5, starting_factor=1.5),
)
