"""Which train: the district whose draw stepped up, and the loads that could explain the step."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.protection.ticks import TICK_S

BEFORE_S, SKIP_S, AFTER_S = 2.0, 0.6, 1.0
LEAST_AMPS = 0.3
ALIKE = 0.35
"""A load explains a step that differs from its figures by no more than this share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSource:
    """A step of the draw.

    Attributes:
        district: Whose draw went up most.
        amps: By how much.
        loads: Names of loads of the layout file whose running or starting amps come close to it.
    """

    district: str
    amps: float
    loads: tuple[str, ...]


def find_step(layout: Layout, names: tuple[str, ...], history: NDArray[np.float64], since: int) -> StepSource | None:
    """The step that began some ticks ago.

    Args:
        layout: The layout file, for its loads.
        names: Names of the d districts.
        history: Shape (n, d): amps of the last ticks.
        since: How many ticks ago the overload began.
    """
    start = len(history) - since
    before = history[max(0, start - round((BEFORE_S + SKIP_S) / TICK_S)) : max(0, start - round(SKIP_S / TICK_S))]
    after = history[start : start + max(1, round(AFTER_S / TICK_S))]
    if not len(before) or not len(after):
        return None
    # Medians: the overload is noticed some tenths of a second after its step, so the stretch before may hold the first of it.
    levels = np.nanmedian(after, axis=0) - np.nanmedian(before, axis=0) if _known(before, after) else np.zeros(len(names))
    rises = np.nan_to_num(levels)
    column = int(np.argmax(rises))
    amps = float(rises[column])
    if amps < LEAST_AMPS:
        return None
    return StepSource(district=names[column], amps=amps, loads=explaining_loads(layout, names[column], amps))


def explaining_loads(layout: Layout, district: str, amps: float) -> tuple[str, ...]:
    """Loads of a district whose running or starting amps come close to a step, the closest first."""
    found = []
    for load in layout.load:
        figures = [figure for figure in (load.running_amps, load.starting_amps) if figure]
        if load.district == district and figures:
            off = min(abs(amps - figure) / figure for figure in figures)
            if off <= ALIKE:
                found.append((off, load.name))
    return tuple(name for _, name in sorted(found))


def _known(before: NDArray[np.float64], after: NDArray[np.float64]) -> bool:
    return bool(np.isfinite(before).any(axis=0).all() and np.isfinite(after).any(axis=0).all())
