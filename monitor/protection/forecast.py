"""When a protection would open: the likely moment, and the interval that nearly all devices it may be open in."""

import math
from collections.abc import Sequence

import numpy as np

from monitor.protection import thresholds as th
from monitor.protection.coming import Way
from monitor.protection.curves import NEVER_S
from monitor.protection.devices import QUICKER, TYPICAL
from monitor.protection.heat import HeatTrack
from monitor.protection.recurrence import followed
from monitor.protection.ticks import TICK_S
from monitor.values import TripForecast
from monitor.values.arrays import Floats


def foresee(heat: HeatTrack, amps: float, ways: Sequence[Way], over_s: float) -> TripForecast | None:
    """When it would open; None where a typical one would not (by the likeliest way, or quick ones at a steady draw).

    Args:
        heat: Its heat.
        amps: The present draw with its trend.
        ways: How the draw may go on, the likeliest first.
        over_s: How long more has been drawn than it holds.
    """
    expected_s = expected_in_s(heat, amps, ways[0])
    if expected_s == NEVER_S:
        return None
    weights = heat.belief * heat.is_possible
    by_lap = len(ways[0].lap) > 1
    late = heat.likely >= 1.0
    left = weights.sum() / heat.belief.sum()
    if left == 0:
        # Slower than anything that the layout file lets expect.
        in_s = max(th.LEAST_SPAN_S, th.LATE_SHARE * over_s)
        return TripForecast(
            in_s=in_s, earliest_s=0.0, latest_s=None, by_lap=by_lap, is_late=True, has_points=heat.devices.has_points
        )
    times = np.concatenate([opening_s(heat, way) for way in ways])
    shares = np.concatenate([way.share * weights for way in ways])
    opens = np.isfinite(times)
    in_s = _quantile(times[opens], shares[opens], 0.5) if shares[opens].any() else expected_s
    earliest_s, latest_s = _quantile(times, shares, th.EARLIEST), _quantile(times, shares, th.LATEST)
    if late and by_lap and not heat.devices.has_points:
        earliest_s *= th.LATE_LAP_SHARE
    # Openings narrow the sample by a model of one mass; a fuse is the thinnest of all, and heats up with its holder.
    misfit_s = th.MISFIT * (over_s + in_s) if heat.has_learnt or heat.is_replaced or left < th.MANY_LEFT else 0.0
    return TripForecast(
        in_s=in_s,
        earliest_s=max(0.0, min(earliest_s - misfit_s, in_s - th.LEAST_SPAN_S)),
        latest_s=None if latest_s == NEVER_S or left < th.OUTLASTED else max(latest_s + misfit_s, in_s + th.LEAST_SPAN_S),
        by_lap=by_lap,
        is_late=late,
        has_points=heat.devices.has_points,
    )


def expected_in_s(heat: HeatTrack, amps: float, way: Way) -> float:
    """Seconds that a typical one takes by a way of the draw, or twice what a quick one takes where it holds; infinite for never."""
    if len(way.lap) > 1:
        steps = heat.typical.steps(way.lap, heat.scale[: TYPICAL + 1])
        by_lap_s = float(_opening_by_lap_s(heat.heats[: TYPICAL + 1], *steps, th.LAP_SAFE_HEAT)[0])
        return by_lap_s if by_lap_s <= th.LOOK_AHEAD_S else NEVER_S
    steady_s = heat.open_in_s(amps)
    return float(steady_s[TYPICAL] if steady_s[TYPICAL] < NEVER_S else th.BEYOND_QUICK * steady_s[QUICKER])


def opening_s(heat: HeatTrack, way: Way) -> Floats:
    """Seconds that each device takes by a way of the draw, shape (m,); infinite where one never opens."""
    gone_s, heats = 0.0, heat.heats
    first_s = np.full(len(heats), NEVER_S)
    if len(way.rise):
        path = followed(heats, *heat.steps(way.rise))
        first_s = _first_s(path, 1.0)
        heats, gone_s = path[-1], len(path) * TICK_S
    if len(way.lap) > 1:
        after_s = _opening_by_lap_s(heats, *heat.steps(way.lap), 1.0)
    else:
        after_s = heat.devices.open_in_s(heats, float(way.lap[0]), heat.scale)
    return np.where(np.isfinite(first_s), first_s, gone_s + after_s)


def _opening_by_lap_s(heats: Floats, kept: Floats, gained: Floats, level: float) -> Floats:
    """Seconds from some heats to a level if a lap comes again and again, shape (m,).

    Args:
        heats: Shape (m,).
        kept: Shape (n, m): what the lap's ticks keep of the heat. Likewise gained.
        gained: What they add.
        level: The heat to be reached.
    """
    # Heat within a lap, from the heat at its start: so_far * start + from_cold.
    so_far = np.cumprod(kept, axis=0)
    from_cold = followed(np.zeros(len(heats)), kept, gained)
    # A lap that starts at this heat reaches the level.
    enough = ((level - from_cold) / so_far).min(axis=0)
    laps = _laps_until(heats, enough, so_far[-1], from_cold[-1])
    whole = np.where(np.isfinite(laps), laps, 0.0)
    start = _after_laps(heats, whole, so_far[-1], from_cold[-1])
    within_s = _first_s(so_far * start + from_cold, level - 1e-9)
    return np.where(np.isfinite(laps), whole * len(kept) * TICK_S + within_s, NEVER_S)


def _laps_until(start: Floats, enough: Floats, kept: Floats, gained: Floats) -> Floats:
    """Whole laps until a lap starts with enough heat; infinite where none does."""
    with np.errstate(divide="ignore", invalid="ignore"):
        # A lap that keeps everything gains the same each time; others approach an end.
        end = gained / (1.0 - kept)
        approach = np.log((end - enough) / (end - start)) / np.log(kept)
        laps = np.where(kept < 1.0, np.where(end > enough, approach, NEVER_S), (enough - start) / gained)
    return np.where(start >= enough, 0.0, np.where(np.isnan(laps), NEVER_S, np.ceil(laps - 1e-9)))


def _after_laps(start: Floats, laps: Floats, kept: Floats, gained: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        end = gained / (1.0 - kept)
        return np.where(kept < 1.0, end + (start - end) * kept**laps, start + gained * laps)


def _first_s(path: Floats, level: float) -> Floats:
    """When each column of heats, shape (n, m), first reaches a level; infinite where it does not."""
    hot = path >= level
    return np.where(hot.any(axis=0), (np.argmax(hot, axis=0) + 1) * TICK_S, NEVER_S)


def _quantile(values: Floats, weights: Floats, share: float) -> float:
    """The value below which a share of the weight lies; infinite where that is among what is."""
    order = np.argsort(values)
    values, weights = values[order], weights[order]
    middle = (np.cumsum(weights) - weights / 2) / weights.sum()
    place = int(np.searchsorted(middle, share))
    if place == 0 or place == len(values) or math.isinf(values[place]):
        return float(values[min(place, len(values) - 1)])
    return float(np.interp(share, middle[place - 1 : place + 1], values[place - 1 : place + 1]))
