"""Which train: the district whose draw stepped up, and the loads that could explain the step."""

from dataclasses import dataclass

import numpy as np

from monitor.layout import Layout
from monitor.protection import thresholds as th
from monitor.protection.ticks import TICK_S
from monitor.values.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSource:
    """What brought an overload.

    Attributes:
        district: Whose draw went up most.
        amps: By how much.
        loads: Names of loads of the layout file whose running or starting amps come close to it.
        crept: True where it rose bit by bit over about a minute: there is no one step.
    """

    district: str
    amps: float
    loads: tuple[str, ...] = ()
    crept: bool = False


def find_source(layout: Layout, names: tuple[str, ...], history: Floats, since: int) -> StepSource | None:
    """What brought an overload that was noticed some ticks ago; None where nothing sticks out.

    Args:
        layout: The layout file, for its loads.
        names: Names of the d districts.
        history: Shape (n, d): amps of the last ticks.
        since: How many ticks ago the overload was noticed.
    """
    noticed = len(history) - since
    first, last = noticed - round(th.EARLIER_S / TICK_S), noticed + round(th.LATER_S / TICK_S)
    rises = np.array([_rise(history, start) for start in range(max(1, first), min(last, len(history) - 1) + 1)])
    least = max(th.LEAST_AMPS, th.LEAST_SHARE * float(np.nansum(history[-1]))) if len(history) else th.LEAST_AMPS
    if rises.size and rises.max() >= least:
        column = int(np.argmax(rises.max(axis=0)))
        amps = float(rises[:, column].max())
        return StepSource(district=names[column], amps=amps, loads=explaining_loads(layout, names[column], amps))
    return _crept(names, history, least)


def explaining_loads(layout: Layout, district: str, amps: float) -> tuple[str, ...]:
    """Loads of a district whose running or starting amps come close to a step, the closest first."""
    found = []
    for load in layout.load:
        figures = [figure for figure in (load.running_amps, load.starting_amps) if figure]
        if load.district == district and figures:
            off = min(abs(amps - figure) / figure for figure in figures)
            if off <= th.LOAD_ALIKE:
                found.append((off, load.name))
    return tuple(name for _, name in sorted(found))


def _rise(history: Floats, start: int) -> Floats:
    """By how much each district rose about a tick; 0 where it is not known."""
    skip = round(th.SKIP_S / TICK_S)
    before = history[max(0, start - skip - round(th.BEFORE_S / TICK_S)) : max(1, start - skip)]
    after = history[start : start + round(th.AFTER_S / TICK_S)]
    return np.nan_to_num(_level(after) - _level(before))


def _level(rows: Floats) -> Floats:
    """The median of each column: single ticks of a start, a spark or a hole do not count."""
    if not len(rows):
        return np.full(rows.shape[1], np.nan)
    # What is not known sorts last; the general median of numpy takes ten times as long for the few ticks met here.
    ordered = np.sort(rows, axis=0)
    count = np.maximum(1, np.isfinite(rows).sum(axis=0))
    columns = np.arange(rows.shape[1])
    level: Floats = (ordered[(count - 1) // 2, columns] + ordered[count // 2, columns]) / 2
    return level


def _crept(names: tuple[str, ...], history: Floats, least: float) -> StepSource | None:
    lately = round(th.BEFORE_S / TICK_S)
    first = max(0, len(history) - round(th.CREPT_OVER_S / TICK_S) - lately)
    if first + 2 * lately > len(history) or not names:
        return None
    rises = np.nan_to_num(_level(history[-lately:]) - _level(history[first : first + lately]))
    column = int(np.argmax(rises))
    amps = float(rises[column])
    return StepSource(district=names[column], amps=amps, crept=True) if amps >= least else None
