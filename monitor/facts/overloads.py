"""Overloads: how much a supply gave before its protection opened, and how that compares with its data sheet."""

from typing import NamedTuple

import numpy as np

from monitor.facts import thresholds as t
from monitor.facts.circuits import Circuits
from monitor.facts.medians import medians
from monitor.facts.shorts import collapsed
from monitor.facts.ticks import TICK_S, Ticks


class Overload(NamedTuple):
    """What a supply gave before.

    Attributes:
        multiple: Highest half second of the last seconds, as a multiple of the rated amps.
        leap: Highest tenth just before, likewise.
    """

    multiple: float
    leap: float


def overload_before(ticks: Ticks, circuits: Circuits, supply: int, tick: int) -> Overload:
    """What a supply gave before this tick."""
    near = circuits.supply_of == supply
    amps = ticks.amps[ticks.rows(tick - t.OPENING_LOOK_BACK_TICKS, tick - 1)][:, near].sum(axis=1)
    high = ticks.amps_high[ticks.rows(tick - 4, tick + 1)][:, near].sum(axis=1)
    rated = float(circuits.rated_amps[supply])
    return Overload(highest_mean(amps, 5) / rated, float(np.nanmax(high, initial=0.0)) / rated)


def short_before(ticks: Ticks, circuits: Circuits, supply: int, tick: int) -> bool:
    """Whether a district of this supply was shorted in the second before: its amps leapt while its volts collapsed.

    In a tick in which the volts came back the leap is an inrush's.
    """
    near = circuits.supply_of == supply
    past, last = ticks.rows(tick - 60, tick), ticks.rows(tick - 10, tick + 1)
    usual_amps, usual_volts = medians(ticks.amps[past][:, near], 0), medians(ticks.volts[past][:, near], 0)
    was_live = ticks.volts_low[ticks.rows(tick - 11, tick)][:, near] > circuits.off_volts[near]
    shorted = collapsed(ticks.amps_high[last][:, near], ticks.volts_low[last][:, near], usual_amps, usual_volts)
    return bool((shorted[-len(was_live) :] & was_live[-len(shorted) :]).any())


def opening_evidence(ticks: Ticks, circuits: Circuits, supply: int, tick: int) -> dict[str, float]:
    """How long the overload lasted, its mean multiple, and the share of the data sheet's typical time that it took.

    An opening sooner than that from a cold start is the protection's; after another opening it was still warm.
    """
    near = circuits.supply_of == supply
    amps = ticks.amps[ticks.rows(tick - t.OPENING_LONGEST_TICKS, tick - 1)][:, near].sum(axis=1) / circuits.rated_amps[supply]
    under = np.flatnonzero(~(amps > 1.0))
    over = amps[under[-1] + 1 :] if len(under) else amps
    if len(over) < 10:
        return {}
    # Heat follows the square of the amps.
    multiple = float(np.sqrt(np.mean(over**2)))
    evidence = {"overload_lasted_s": len(over) * TICK_S, "overload_multiple": multiple}
    typical_s = _typical_s(circuits.trip_points[supply], multiple)
    if typical_s is not None:
        evidence["share_of_typical_time"] = len(over) * TICK_S / typical_s
    return evidence


def highest_mean(values: "np.ndarray[tuple[int], np.dtype[np.float64]]", width: int) -> float:
    """The highest mean of so many values in a row; 0 where there are fewer."""
    if len(values) < width:
        return 0.0
    means = np.convolve(np.nan_to_num(values), np.full(width, 1 / width), mode="valid")
    return float(means.max())


def _typical_s(points: tuple[tuple[float, float], ...], multiple: float) -> float | None:
    """Between the data sheet's points, straight on paper that is logarithmic both ways."""
    if len(points) < 2 or not points[0][0] <= multiple <= points[-1][0]:
        return None
    at = np.log(np.array(points))
    return float(np.exp(np.interp(np.log(multiple), at[:, 0], at[:, 1])))
