"""Stands: a train that lost contact and stands, its reversing unit fallen into neutral, until a hand steps it on."""

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Stream
from monitor.facts import thresholds as t
from monitor.facts.balance import handed_over, others_dropped, stepped_elsewhere
from monitor.facts.edges import is_fine, sharpest_share
from monitor.facts.medians import median, medians, quantiles
from monitor.facts.ticks import TICK_S
from monitor.values import Cause

HANGING_SHARE = 1e-4


def judge_stand(stream: Stream, district: int, ticks: tuple[int, int], usual: float) -> tuple[Occurrence | None, float]:
    """A drop that did not come back: the train without contact, if it is one, and how many amps went.

    Args:
        stream: Known at least t.STAND_TICKS beyond the drop.
        district: Where.
        ticks: The first drop of a bouncing contact, and the last.
        usual: Amps before the first.
    """
    first, found = ticks
    rows = stream.ticks.rows(found + t.STAND_BOUNCED_TICKS, found + t.STAND_TICKS)
    high, amps = stream.ticks.amps_high[rows, district], stream.ticks.amps[rows, district]
    depth = usual - median(high)
    live = bool(stream.ticks.calm[stream.ticks.rows(found, found + t.STAND_TICKS), district].all())
    if not (live and depth > t.STAND_SHARE * usual and bool((high < usual - 0.8 * depth).mean() > t.STAND_MOSTLY)):
        return None, depth
    hangs = float(np.ptp(amps)) < HANGING_SHARE * usual  # a converter always shows some noise
    if (
        hangs
        or _was_switched_on(stream, district, ticks[0], usual - depth, depth)
        or not _motor_stopped(stream, district, ticks, usual, usual - depth)
    ):
        return None, depth
    last_depth = stream.median("amps", district, found - 6, found - 1) - (usual - depth)
    if handed_over(stream, district, found, last_depth, t.BALANCE_MOSTLY) or others_dropped(
        stream, district, first, t.STAND_DROPPED_SHARE
    ):
        return None, depth
    return _event(stream, district, ticks, usual, depth), depth


def _motor_stopped(stream: Stream, district: int, ticks: tuple[int, int], usual: float, left: float) -> bool:
    """Whether all but standby went, or the ripple with the amps; and less is left than was drawn for long before."""
    rated = float(stream.circuits.rated_amps[stream.circuits.supply_of[district]])
    stopped = _ripple_left(stream, district, ticks) < t.STAND_SILENT_SHARE
    if usual - left < t.STAND_TRAIN_SHARE * rated:
        bare = left < t.STAND_STANDBY_SHARE * usual
        stopped |= bare or _came_back_less(stream, district, ticks, usual, left)
    return stopped and left < t.STAND_LEFT_SHARE * _least_since_live(stream, district, ticks[0])


def _came_back_less(stream: Stream, district: int, ticks: tuple[int, int], usual: float, left: float) -> bool:
    """Contact was lost and made again, and but for the coil of a reversing unit nothing came back with it."""
    if _ripple_left(stream, district, ticks) > t.STAND_COIL_RIPPLE:
        return False
    lowest = float(np.min(stream.ticks.amps_low[stream.ticks.rows(ticks[0], ticks[1] + t.STAND_BOUNCED_TICKS), district]))
    return lowest < t.STAND_STANDBY_SHARE * usual and left - lowest > t.STAND_COIL_SHARE * usual


def _event(stream: Stream, district: int, ticks: tuple[int, int], usual: float, depth: float) -> Occurrence | None:
    found = ticks[1]
    volts = stream.median("volts", district, found + t.STAND_BOUNCED_TICKS, found + t.STAND_TICKS)
    volts_before = stream.median("volts", district, found - 6, found - 1)
    cut = stream.cut(district, found - 4, found + 4)
    share = sharpest_share(cut.end_s, cut.amps, -depth)
    held = t.STAND_HELD_SHARE if stream.circuits.is_ac[district] else t.STAND_DC_HELD_SHARE
    below = np.flatnonzero(cut.amps < usual - 0.3 * depth)
    coarse = not is_fine(cut)
    if not (share >= t.EDGE_SHARP_SHARE and volts > held * volts_before and len(below)):
        return None
    over = np.flatnonzero(cut.amps > usual - 0.3 * depth)
    if len(over) and stepped_elsewhere(stream, district, float(cut.end_s[over[-1]]), depth):
        return None  # the train drove over
    start_s = float(cut.start_s[below[0]] + cut.end_s[below[0]]) / 2
    event = Occurrence(district=district, cause=Cause.LOST_CONTACT, start_s=start_s)
    event.confidence = t.STAND_COARSE if coarse else t.STAND_QUIET
    event.evidence = {
        "amps_before": usual,
        "amps_lowest": usual - depth,
        "volts_before": volts_before,
        "volts_during": volts,
        "change_within_one_cycle_share": share,
        "ripple_left_share": _ripple_left(stream, district, ticks),
    }
    return event


def _ripple_left(stream: Stream, district: int, ticks: tuple[int, int]) -> float:
    first, found = ticks
    after = stream.ripple(district, found + t.STAND_BOUNCED_TICKS, found + t.STAND_TICKS)
    return after / stream.ripple(district, first - t.STAND_TICKS, first - 1)


def _least_since_live(stream: Stream, district: int, tick: int) -> float:
    """The least that was drawn for long since the volts last came on: a train that ran stood only where it lost contact, too."""
    rows = stream.ticks.rows(tick - t.STAND_EARLIER_TICKS, tick - 2)
    counts = stream.ticks.calm[rows, district].copy()
    counts[: int(np.flatnonzero(~counts)[-1]) + 1 if not counts.all() else 0] = False
    at_s = (np.arange(-len(counts), 0) + tick - 2) * TICK_S
    for sag in stream.whole_sags(district, tick):
        counts &= (at_s < sag.start_s - TICK_S) | (at_s > (sag.end_s or sag.start_s))
    past = stream.ticks.amps[rows, district][counts]
    return quantiles(past, (t.STAND_LEAST_QUANTILE,))[0] if len(past) else np.inf


def _was_switched_on(stream: Stream, district: int, tick: int, left: float, depth: float) -> bool:
    """A load that is switched off: as many amps had come at once, while the volts were there, and stayed."""
    rows = stream.ticks.rows(tick - t.STAND_SWITCHED_TICKS, tick - 1)
    amps, calm = stream.ticks.amps[rows, district], stream.ticks.calm[rows, district]
    over = stream.ticks.amps_high[rows, district] > left + 0.5 * depth
    if len(amps) < t.STAND_TICKS + t.STAND_SETTLED_TICKS + 3:
        return False
    windows = np.lib.stride_tricks.sliding_window_view
    before = windows(amps[: -t.STAND_SETTLED_TICKS - 1], t.STAND_TICKS)  # a contact that is made again was lost for less
    # The tick of the edge says nothing: in the one behind it a motor that starts still takes more, a load does not.
    under = ~windows(over[: -t.STAND_SETTLED_TICKS - 1], t.STAND_TICKS).any(axis=1)
    rises = under & over[t.STAND_TICKS :][: len(before)]
    at_once = amps[t.STAND_TICKS + 1 :][: len(before)]
    after = medians(windows(amps[t.STAND_TICKS + 1 :], t.STAND_SETTLED_TICKS), 1)[: len(before)]
    alike = np.abs(np.stack([at_once, after]) - before[:, -1] - depth) < t.STAND_ALIKE * depth
    high = (amps > left + 0.5 * depth) | ~calm
    stays = np.logical_and.accumulate(high[::-1])[::-1][t.STAND_TICKS + 1 :][: len(before)]
    fed = windows(calm[: -t.STAND_SETTLED_TICKS - 1], t.STAND_TICKS)[:, -1]
    return bool((alike.all(axis=0) & rises & stays & fed).any())
