"""What one load draws, learnt from the running layout: its steady draw with its spread, and the draw of its start.

Rows of a fifth of a second come in, as the live store and recorded sessions keep them. Steady: no more than so long after a start, and
not where it stands, lost contact or a short pulled the volts down. The figures are the middle (median) and the 5 to 95 % range of
one-second means, so that a blip decides nothing; a start is its highest fifth of a second.

What else is on is taken off as a phasor (textbook: currents add as vectors, the part in phase with the volts being watts over volts): as
measured while the load stood, else as lamps draw, in phase with the volts. Where neither is known it can only be bounded.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.errors import LayoutError
from monitor.layout import Layout, Load
from monitor.layout.edit import Plain
from monitor.values.arrays import Floats

Flags = NDArray[np.bool_]

ROW_S = 0.2
ROWS_A_SECOND = 5
START_ROWS = 10
"""Two seconds after a start the draw is that of running (common practice, no published source: motors and lamps settle within one)."""
STOOD_ROWS = 3
LEAST_STEADY_S = 5
LIVE_VOLTS = 2.0
COLLAPSED_SHARE = 0.5
"""Volts below this share of their usual value: a short, not a draw."""
MOVING_SHARE = 0.35
LEAST_AMPS = 0.02
OTHERS_ROWS = 5
"""A second of standing shows what else draws."""
SPREAD_SHARE = 0.25
"""Nine tenths of the seconds further apart than this share of their middle: the middle says too little. Chosen, no published source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntDraw:
    """What a load drew.

    Attributes:
        running_amps: Median of the steady seconds.
        low_amps: No lower for 95 % of them.
        high_amps: No higher for 95 % of them.
        starting_amps: Highest fifth of a second of a start; None where no start was seen.
        steady_s: Seconds that the figures rest on.
        starts: How many starts were seen.
        volts_rms: Median volts meanwhile.
        others_amps: What was taken off for other loads that were on.
        others_how: How that is known, in words; empty where nothing was on.
    """

    load: str
    running_amps: float
    low_amps: float
    high_amps: float
    starting_amps: float | None
    steady_s: int
    starts: int
    volts_rms: float
    others_amps: float
    others_how: str = ""

    @property
    def sentence(self) -> str:
        """What was learnt, for a person."""
        start = (
            "No start was seen: let it stand for a second and start again within the span to learn that too."
            if self.starting_amps is None
            else f"Starting: {self.starting_amps:.2f} A at most in {self.starts} start{'s' if self.starts > 1 else ''}."
        )
        off = f" after {self.others_amps:.2f} A for what else was on ({self.others_how})" if self.others_amps else ""
        return (
            f"{self.load}: {self.running_amps:.2f} A running{off} ({self.low_amps:.2f} to {self.high_amps:.2f} A in nine of ten of "
            f"{self.steady_s} steady seconds, at {self.volts_rms:.1f} V). {start}{self._spread_words}"
        )

    @property
    def _spread_words(self) -> str:
        if self.high_amps - self.low_amps <= SPREAD_SHARE * self.running_amps:
            return ""
        return (
            f" Beware: it draws {self.low_amps:.2f} to {self.high_amps:.2f} A along its way, so the middle misleads (grades, curves, "
            f"several trains). The budget takes {self.running_amps:.2f} A: write {self.high_amps:.2f} as running_amps where it climbs for "
            "long or where several trains climb at once."
        )

    def keys(self, measured_on: str) -> dict[str, Plain]:
        """The keys of the load's table in the layout file, measured on an ISO 8601 date."""
        found: dict[str, Plain] = {
            "running_amps": self.running_amps,
            "measured_on": measured_on,
            "measured_spread_amps": [self.low_amps, self.high_amps],
        }
        return found if self.starting_amps is None else {**found, "starting_amps": self.starting_amps}


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherLoads:
    """What else was on in the district.

    Attributes:
        amps: By the layout file's figures.
        are_lamps: All of it: then it draws in phase with the volts.
    """

    amps: float = 0.0
    are_lamps: bool = False


def learn_draw(
    load: str, volts_rms: Floats, amps_rms: Floats, watts: Floats | None = None, *, others: OtherLoads | None = None
) -> LearntDraw:
    """Learn a load's draw from its district's readings.

    Args:
        load: Its name.
        volts_rms: Shape (n,): RMS volts of neighbouring fifths of a second; NaN where nothing was measured, as in the next.
        amps_rms: RMS amps of the district.
        watts: Its mean real power; None where the board measures none.
        others: What else was on in the district meanwhile.

    Raises:
        LayoutError: Too little was seen; the message says what to do.
    """
    own, others_amps, others_how = _own_amps(volts_rms, amps_rms, watts, others or OtherLoads())
    usable = _usable(volts_rms, own)
    high = _highest(load, own, usable)
    moving = usable & (own > MOVING_SHARE * high)
    starts = _starts(moving, own <= MOVING_SHARE * high)
    steady = _steady(moving, starts)
    seconds = _second_means(own, steady)
    if len(seconds) < LEAST_STEADY_S:
        raise LayoutError(
            f"it ran steadily for {len(seconds)} s only: let it run for {LEAST_STEADY_S} s and more, or choose a longer span",
            key=load,
        )
    running, peaks = float(np.median(seconds)), _peaks(own, usable, starts)
    return LearntDraw(
        load=load,
        running_amps=running,
        low_amps=float(np.percentile(seconds, 5)),
        high_amps=float(np.percentile(seconds, 95)),
        starting_amps=max(running, *peaks) if peaks else None,
        steady_s=len(seconds),
        starts=len(starts),
        volts_rms=float(np.median(volts_rms[steady])),
        others_amps=others_amps,
        others_how=others_how,
    )


def _own_amps(volts: Floats, amps: Floats, watts: Floats | None, others: OtherLoads) -> tuple[Floats, float, str]:
    """The load's own amps in each row, the amps taken off, and how those are known."""
    plain = amps - others.amps
    if not others.amps:
        return plain, 0.0, ""
    live = _usable(volts, amps)
    in_phase = np.full(len(amps), np.nan) if watts is None else watts / np.where(live, volts, np.nan)
    across = np.sqrt(np.clip(amps**2 - in_phase**2, 0.0, None))
    stood = live & np.isfinite(in_phase) & (np.abs(plain) <= MOVING_SHARE * np.nanmax(np.where(live, plain, np.nan), initial=0.0))
    if np.count_nonzero(stood) >= OTHERS_ROWS:
        other, how = (float(np.median(in_phase[stood])), float(np.median(across[stood]))), "measured while it stood"
    elif others.are_lamps and np.isfinite(in_phase).any():
        other, how = (others.amps, 0.0), "lamps, by the layout file"
    else:
        most = float(np.nanmedian(np.sqrt(np.clip(amps**2 - others.amps**2, 0.0, None))))
        how = f"by the layout file, taken as in phase: it may be up to {most:.2f} A; let it stand for a second to have that measured"
        return plain, others.amps, how
    own = np.hypot(in_phase - other[0], across - other[1])
    return np.where(np.isfinite(own), own, plain), float(np.hypot(*other)), how


def load_to_learn(layout: Layout, name: str, also: Sequence[str]) -> tuple[Load, OtherLoads]:
    """The load to learn, and the others of its district that are on too: those are taken off at the layout file's figures.

    Raises:
        LayoutError: A name is no load of the layout, or is one of another district.
    """
    loads = {load.name: load for load in layout.load}
    for asked in (name, *also):
        if asked not in loads:
            raise LayoutError(
                f'there is no load "{asked}": the layout has {", ".join(loads) or "none yet: add a [[load]] table"}'
            )
    load = loads[name]
    for other in also:
        if other == name or loads[other].district != load.district:
            raise LayoutError(
                f'"{other}" is not another load of district "{load.district}": leave it out', table=f'load "{name}"'
            )
    amps = sum(loads[other].running_amps for other in also)
    return load, OtherLoads(amps=amps, are_lamps=all(loads[other].kind == "lighting" for other in also))


def _peaks(own: Floats, usable: Flags, starts: list[int]) -> list[float]:
    return [float(own[first : first + START_ROWS][usable[first : first + START_ROWS]].max()) for first in starts]


def _highest(load: str, own: Floats, usable: Flags) -> float:
    """What it draws when it draws much: no more for nine tenths of the time."""
    if not usable.any():
        raise LayoutError("nothing was measured there with the track alive: turn the throttle up and let it run first", key=load)
    high = float(np.percentile(own[usable], 90))
    if high < LEAST_AMPS:
        raise LayoutError(
            f"it drew no more than {max(high, 0.0):.2f} A: is it on this district, running, and is what else is on right?",
            key=load,
        )
    return high


def _usable(volts: Floats, own: Floats) -> Flags:
    known = np.isfinite(volts) & np.isfinite(own)
    live = known & (np.nan_to_num(volts) >= LIVE_VOLTS)
    if not live.any():
        return live
    usual = float(np.median(volts[live]))
    return live & (np.nan_to_num(volts) >= COLLAPSED_SHARE * usual)


def _starts(moving: Flags, stood: Flags) -> list[int]:
    """Rows with which a start begins: it stood for some rows before, and that was seen (a hole is no standing)."""
    return [
        row
        for row in range(STOOD_ROWS, len(moving) - START_ROWS // 2)
        if moving[row] and stood[row - STOOD_ROWS : row].all() and moving[row : row + START_ROWS // 2].all()
    ]


def _steady(moving: Flags, starts: list[int]) -> Flags:
    # A row beside one that stands may hold part of the change.
    inner = moving.copy()
    inner[1:] &= moving[:-1]
    inner[:-1] &= moving[1:]
    inner[0] = inner[-1] = False
    for first in starts:
        inner[first : first + START_ROWS] = False
    return inner


def _second_means(own: Floats, steady: Flags) -> Floats:
    whole = len(own) // ROWS_A_SECOND * ROWS_A_SECOND
    rows, kept = own[:whole].reshape(-1, ROWS_A_SECOND), steady[:whole].reshape(-1, ROWS_A_SECOND)
    full = kept.all(axis=1)
    return np.asarray(rows[full].mean(axis=1), dtype=np.float64)
