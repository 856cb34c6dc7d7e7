"""What figures between isolated windings weigh: nothing, or a few phantom volts (stray capacitance into a meter of ten megohms).

Phantoms are common practice, no published source; their sizes are judgements.
"""

from collections.abc import Sequence
from math import hypot, inf, log, sqrt

from monitor.planning.terminal_readings import SCATTER_VOLTS, PairReading, TerminalReadings

PHANTOM_LIMIT_VOLTS = 6.0
"""More than this between two posts is no phantom: they are on one winding (judgement, no published source)."""
PHANTOMS_AT_ALL, PHANTOM_EACH, PHANTOM_SIGMA_VOLTS = 12.0, 3.2, 2.0
"""Misfit that phantoms cost, as twice the logarithm of a likelihood: once, since a meter with a lamp across shows none, and each, as
volts with that standard deviation do against the meter's scatter (judgement, no published source)."""
SILENT_MISFIT = 4.0
"""A post that shows nothing against any other is rare."""
MOST_PHANTOM_RMS_VOLTS = 5.0
"""Of all phantoms of a supply together (judgement, no published source)."""
NOTHING_VOLTS = 4.5 * SCATTER_VOLTS
"""Less than this may be nothing: one figure in 150,000 that scatters normally is off by more."""


def misfit_across(readings: TerminalReadings, groups: Sequence[tuple[int, ...]]) -> float:
    """Squared deviations of the figures between groups: all of them nothing, or some phantoms; and what posts alone in a group weigh."""
    number = {post: k for k, group in enumerate(groups) for post in group}
    across = [reading for reading in readings.readings if number[reading.pair[0]] != number[reading.pair[1]]]
    nothing = sum((reading.volts / reading.sigma_volts) ** 2 for reading in across)
    phantoms = [reading.volts for reading in across if reading.volts > NOTHING_VOLTS]
    silent = SILENT_MISFIT * sum(len(group) == 1 for group in groups)
    if not phantoms:
        return silent + nothing
    if hypot(*phantoms) > MOST_PHANTOM_RMS_VOLTS * sqrt(len(phantoms)):
        return inf
    by_pair: dict[tuple[int, int], list[PairReading]] = {}
    for reading in across:
        by_pair.setdefault(reading.pair, []).append(reading)
    misfit = PHANTOMS_AT_ALL + sum(_phantom_misfit(same) for same in by_pair.values())
    second, largest = [0.0, *sorted(max(reading.volts for reading in same) for same in by_pair.values())][-2:]
    # Of n figures spread evenly, the largest is so many times the next one with a probability of that ratio to the power of 1 - n.
    outlying = largest / max(second, NOTHING_VOLTS)
    misfit += 2 * (len(by_pair) - 1) * log(max(1.0, outlying))
    return silent + min(nothing, misfit)


def _phantom_misfit(readings: Sequence[PairReading]) -> float:
    """What the figures of one pair weigh as phantoms: each round another, or the same in all (a stray capacitance does not change)."""
    mean = sum(reading.volts for reading in readings) / len(readings)
    steady = PHANTOM_EACH + (mean / PHANTOM_SIGMA_VOLTS) ** 2
    steady += sum(((reading.volts - mean) / reading.sigma_volts) ** 2 for reading in readings)
    each = (
        min((reading.volts / reading.sigma_volts) ** 2, PHANTOM_EACH + (reading.volts / PHANTOM_SIGMA_VOLTS) ** 2)
        for reading in readings
    )
    return min(steady, sum(each))
