"""How the AC supplies on one board stand to each other, and what that means."""

import itertools
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from monitor.layout import Layout, Supply
from monitor.layout.joined_commons import COMMONS, STRIP_OFF
from monitor.metering import thresholds as th
from monitor.metering.mains_view import MainsView
from monitor.values import AggregateBlock, Phasing, WaveformKind
from monitor.values.arrays import Bools, Floats, Ints, Phasors

Verdict = Literal["in-phase", "anti-phase", "unrelated"]
_VERDICTS: tuple[Verdict, ...] = ("in-phase", "anti-phase", "unrelated")


@dataclass(slots=True)
class _Pair:
    """Two supplies and what was seen and said of them.

    Attributes:
        columns: Of each the districts it feeds.
        recent: Shape (6, up to a second less one window): of the last windows whether both were live and in sight, cosine and sine of the
            angle, volts of each, and the difference in volts.
        said: What was said last; None before anything was.
        doubted: For how many windows something else has been seen since.
    """

    supplies: tuple[Supply, Supply]
    columns: tuple[list[int], list[int]]
    recent: Floats = field(default_factory=lambda: np.zeros((6, 0)))
    said: Phasing | None = None
    said_s: float = 0.0
    doubted: int = 0


class PhaseComparator:
    """Compares supplies once their outputs are live and steady; says so once, and again when it changed."""

    def __init__(self, layout: Layout, board: str) -> None:
        districts = layout.districts_of_board(board)
        ac = [s for s in layout.supply if s.current == "ac" and any(d.supply == s.name for d in districts)]
        columns = {s.name: [k for k, d in enumerate(districts) if d.supply == s.name] for s in ac}
        self._pairs = [
            _Pair((one, other), (columns[one.name], columns[other.name])) for one, other in itertools.combinations(ac, 2)
        ]
        self._times_s: Floats = np.zeros(0)
        self._phasors: Phasors = np.zeros((len(districts), 0), dtype=np.complex128)

    def feed(self, views: list[MainsView], aggregates: list[AggregateBlock]) -> list[Phasing]:
        """Phasings that were found or changed."""
        if not self._pairs:
            return []
        if views:
            self._times_s = np.concatenate([self._times_s[-th.KEPT_FRAMES :], *(view.times_s for view in views)])
            self._phasors = np.concatenate([self._phasors[:, -th.KEPT_FRAMES :], *(view.phasors for view in views)], axis=1)
        found: list[Phasing] = []
        for block in aggregates:
            live = live_columns(block)
            for pair in self._pairs:
                found += self._judged(pair, self._seen(pair, block, live), block.end_s)
        return sorted(found, key=lambda phasing: phasing.start_s)

    def _seen(self, pair: _Pair, block: AggregateBlock, live: Bools) -> Floats:
        """Windows of a pair, with those kept before, as _Pair.recent has them."""
        frames = np.searchsorted(self._times_s, block.end_s, side="right") - 1
        rows = np.arange(len(block))
        both = frames >= 0
        picked, phasors = [], []
        for columns in pair.columns:
            strongest = np.array(columns)[np.where(live[:, columns], block.volts_rms[:, columns], -1.0).argmax(axis=1)]
            both &= live[rows, strongest]
            picked.append(np.stack([each[rows, strongest] for each in _figures(block)]))
            phasors.append(self._phasors[strongest, frames] if len(self._times_s) else np.zeros(len(rows)))
        angle = np.angle(phasors[0] * np.conj(phasors[1]))
        volts, means, conduction = np.stack(picked, axis=1)
        difference = difference_volts(volts, means, np.degrees(angle), conduction)
        seen = np.concatenate([pair.recent, [both, np.cos(angle), np.sin(angle), *volts, difference]], axis=1)
        pair.recent = seen[:, 1 - th.STEADY_WINDOWS :]
        return seen

    def _judged(self, pair: _Pair, seen: Floats, ends_s: Floats) -> list[Phasing]:
        """Verdicts of steady seconds that are news."""
        if seen.shape[1] < th.STEADY_WINDOWS:
            return []
        seconds = np.lib.stride_tricks.sliding_window_view(seen, th.STEADY_WINDOWS, axis=1)
        volts = seconds[3:5]
        highest = volts.max(axis=2)
        steady = seconds[0].all(axis=1) & (highest - volts.min(axis=2) <= th.STEADY_VOLTS_SHARE * highest).all(axis=0)
        rows = np.flatnonzero(steady)
        angles = seconds[1, rows] + 1j * seconds[2, rows]
        mean = angles.mean(axis=1)
        degrees = np.degrees(np.angle(mean))
        spread = np.degrees(np.abs(np.angle(angles * np.conj(mean)[:, None]))).max(axis=1)
        verdicts = _verdicts(degrees, spread)
        difference = seconds[5, rows].mean(axis=1)
        at_s = ends_s[rows - (len(seconds[0]) - len(ends_s))]
        found, begin = [], 0
        while begin < len(rows):
            news = self._first_news(pair, verdicts[begin:], difference[begin:], at_s[begin:])
            if news is None:
                break
            k = begin + news
            phasing = self._phasing(pair, _VERDICTS[verdicts[k]], float(difference[k]), float(degrees[k]), float(at_s[k]))
            if pair.said is not None and pair.said.verdict == phasing.verdict:
                phasing = replace(phasing, start_s=pair.said.start_s)
            pair.said, pair.said_s, pair.doubted, begin = phasing, float(at_s[k]), 0, k + 1
            found.append(phasing)
        return found

    @staticmethod
    def _first_news(pair: _Pair, verdicts: Ints, difference: Floats, at_s: Floats) -> int | None:
        """The first steady second that is to be told; None, and how long another verdict has stood is noted, where none is."""
        said = pair.said
        if said is None:
            return 0
        same = verdicts == _VERDICTS.index(said.verdict)
        count = np.arange(1, len(same) + 1)
        doubted = count - np.maximum.accumulate(np.where(same, count, -pair.doubted))
        moved = np.abs(difference - said.difference_volts) > max(1.0, 0.15 * said.difference_volts)
        news = np.where(same, moved & (at_s - pair.said_s >= th.AGAIN_AFTER_S), doubted >= th.CHANGED_WINDOWS)
        if news.any():
            return int(news.argmax())
        pair.doubted = int(doubted[-1])
        return None

    @staticmethod
    def _phasing(pair: _Pair, verdict: Verdict, difference: float, degrees: float, now_s: float) -> Phasing:
        one, other = pair.supplies
        amps = circulating_amps(difference, source_ohms(one), source_ohms(other))
        return Phasing(
            supplies=(one.name, other.name),
            verdict=verdict,
            difference_volts=difference,
            degrees=degrees,
            start_s=now_s,
            advice=phasing_advice(verdict, difference, amps),
            circulating_amps=amps,
        )


def phasing_advice(verdict: Verdict, difference: float, amps: float) -> str:
    """What a verdict means for joining commons and for trains that cross from one supply's track to the other's."""
    bridged = f"a train that bridges the gap lets about {amps:.0f} A flow between them until a protection opens"
    meant = {
        "in-phase": f"In phase; at these settings {difference:.1f} V stand across the gap and {bridged}: "
        "cross with both throttles at the same mark.",
        "anti-phase": f"They are opposed: {difference:.1f} V stand across the gap and {bridged}. {STRIP_OFF}; then take off any wire "
        "between their commons, and turn one of the two round as the phasing walk says (pilotlamp phase): by its plug, if that may go in "
        "either way, or by the two wires of an output that shares no post with another. No train crosses before that.",
        "unrelated": f"They do not follow the same mains phase: {difference:.1f} V stand across the gap and {bridged}: keep their "
        "tracks apart, with no common rail and no train that crosses.",
    }
    return f"{meant[verdict]} {COMMONS}"


def _verdicts(degrees: Floats, spread: Floats) -> Ints:
    """Places in _VERDICTS."""
    apart = np.abs(degrees)
    along = np.where(apart <= th.TOLERANCE_DEGREES, 0, np.where(apart >= 180 - th.TOLERANCE_DEGREES, 1, 2))
    return np.where(spread <= th.STEADY_DEGREES, along, 2)


def live_columns(block: AggregateBlock) -> Bools:
    """Where there is AC to compare, shape (n, d)."""
    # An offset sounds a whistle for a moment; the angle is not worth much while it lasts.
    steady = np.abs(block.volts_mean) <= 0.1 * block.volts_rms
    ac = np.array([[kind in (WaveformKind.SINE, WaveformKind.PHASE_CUT) for kind in row] for row in block.waveform], dtype=bool)
    return ac & steady & (block.volts_rms >= th.LOWEST_VOLTS) & block.good


def _figures(block: AggregateBlock) -> tuple[Floats, Floats, Floats]:
    return block.volts_rms, block.volts_mean, np.where(np.isfinite(block.conduction_degrees), block.conduction_degrees, 180.0)


def difference_volts(volts_rms: Floats, volts_mean: Floats, degrees: Floats, conduction_degrees: Floats) -> Floats:
    """RMS of the difference of two outputs, as a voltmeter between the hot posts shows it.

    For sines it is sqrt(U1^2 + U2^2 - 2 U1 U2 cos(phi)). A phase-cut output is a sine from its firing angle to the end of the half cycle;
    the mean of the product, which stands for the cosine then, is integrated over where both conduct (closed form).

    Args:
        volts_rms: RMS volts, shape (2, n), like all below but degrees.
        volts_mean: DC volts.
        degrees: Angle of the first mains phase against the second, shape (n,).
        conduction_degrees: Conduction angles; 180 for a sine.
    """
    one, other = np.sqrt(np.maximum(0.0, volts_rms**2 - volts_mean**2))
    angle, live = np.radians(degrees), np.radians(conduction_degrees)
    turned = angle % np.pi
    product = np.zeros_like(angle)
    for end in (np.pi - turned, 2 * np.pi - turned):
        until = np.minimum(end, np.pi)
        since = np.minimum(np.maximum(end - live[0], np.pi - live[1]), until)
        product += (until - since) * np.cos(angle) - (np.sin(2 * until + angle) - np.sin(2 * since + angle)) / 2
    squares = live - np.sin(2 * live) / 2
    alike = product / np.sqrt(np.maximum(squares[0] * squares[1], 1e-12))
    steady = volts_mean[0] - volts_mean[1]
    return np.asarray(np.sqrt(np.maximum(0.0, one**2 + other**2 - 2 * one * other * alike) + steady**2))


def source_ohms(supply: Supply) -> float:
    """Source impedance of a supply as its nameplate suggests: usual regulation at the rated amps of the highest volts."""
    rated_amps = supply.plate_va / supply.max_volts
    return th.USUAL_REGULATION * supply.max_volts / rated_amps if rated_amps else float("inf")


def circulating_amps(difference: float, ohms_one: float, ohms_other: float, wire_ohms: float = 0.0) -> float:
    """RMS amps through a bridged gap: the difference over both source impedances and the wire (Ohm's law).

    Raises:
        ValueError: No impedance at all.
    """
    total = ohms_one + ohms_other + wire_ohms
    if not total > 0:
        raise ValueError("the impedances of the sources and the wire together must be above 0 ohms")
    return difference / total
