"""How AC supplies on different boards stand to each other: the mains seen by each board's samples, in the stream's common time.

The clocks of two boards agree within 2 ms, 43 degrees at 60 Hz (see ``link/board_clock``): enough to tell in phase from opposed and no
finer, so angles near the quarter say nothing. Packets take the same time on the wire only for boards of one kind at one rate; others are
not compared.
"""

import cmath
import itertools
import math
from collections import deque
from collections.abc import Sequence

import numpy as np

from monitor.layout import Layout, Supply
from monitor.metering import thresholds as th
from monitor.metering.phasing import circulating_amps, difference_volts, live_columns, phasing_advice, source_ohms
from monitor.values import AggregateBlock, Phasing, SampleBlock, WaveformKind
from monitor.values.arrays import Phasors

_Phasor = tuple[complex, float]
"""Angle of the mains against the stream's time, and the volts."""


class PhasingAcrossBoards:
    """Compares the first AC supply of the first board with that of each other board."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._supplies = _one_supply_a_board(layout)
        self._pairs = [pair for pair in itertools.combinations(self._supplies, 2) if pair[0] == next(iter(self._supplies))]
        self._windows: dict[str, dict[int, _Phasor]] = {board: {} for board in self._supplies}
        self._sums: dict[str, tuple[int, Phasors]] = {}
        self._live: dict[str, tuple[int, float]] = {}
        self._kinds: dict[str, tuple[float, int]] = {}
        self._since_s: dict[str, float] = {}
        self._recent: dict[tuple[str, str], deque[tuple[complex, tuple[float, float]]]] = {
            pair: deque(maxlen=th.STEADY_WINDOWS) for pair in self._pairs
        }
        self._told: dict[tuple[str, str], str] = {}

    def feed(self, samples: Sequence[SampleBlock], aggregates: Sequence[AggregateBlock]) -> list[Phasing]:
        """Phasings that were found or changed."""
        if not self._pairs:
            return []
        for block in aggregates:
            if block.board in self._supplies and len(block.end_s):
                self._note(block)
        for samples_block in samples:
            if samples_block.board in self._live:
                self._add(samples_block)
        return [phasing for pair in self._pairs for phasing in self._compared(pair)]

    def _note(self, block: AggregateBlock) -> None:
        """Which district of the board shows the mains best, by its latest aggregate: a whole sine, for a cut one turns the phase."""
        districts = self._layout.districts_of_board(block.board)
        live = live_columns(block)[-1] & np.array([kind is WaveformKind.SINE for kind in block.waveform[-1]])
        own = [k for k, d in enumerate(districts) if live[k] and d.supply == self._supplies[block.board].name]
        best = max(own, key=lambda k: float(block.volts_rms[-1, k]), default=None)
        if best is None:
            self._live.pop(block.board, None)
            self._windows[block.board].clear()
            return
        self._live[block.board] = (districts[best].volts_channel, float(block.volts_rms[-1, best]))

    def _add(self, block: SampleBlock) -> None:
        board, (channel, volts) = block.board, self._live[block.board]
        self._kinds[board] = (block.identity.scan_interval_s, len(block.identity.channels))
        self._since_s.setdefault(board, block.start_s)
        times = block.start_s + np.arange(len(block.counts)) * block.interval_s
        number = np.floor(times / th.WINDOW_S).astype(np.intp)
        counts = block.counts[:, channel].astype(np.float64)
        turn = np.exp(-2j * np.pi * self._layout.mains.hertz * (times + block.identity.channels[channel].skew_s))
        first = int(number[0]) if len(number) else 0
        place = number - first
        parts = np.array([np.bincount(place, part) for part in (np.ones(len(counts)), counts, turn.real, turn.imag)])
        wave = np.bincount(place, (counts * turn).real) + 1j * np.bincount(place, (counts * turn).imag)
        kept_from, kept = self._sums.pop(board, (first, np.zeros(5, dtype=np.complex128)))
        for k in range(parts.shape[1]):
            total = np.array([*parts[:, k], wave[k]], dtype=np.complex128)
            total = total + kept if first + k == kept_from else total
            if k + 1 == parts.shape[1]:
                self._sums[board] = (first + k, total)
            elif total[0].real >= th.ACROSS_FULL_SHARE * th.WINDOW_S / block.interval_s:
                level = total[1] / total[0]
                self._keep(board, first + k, (total[4] - level * (total[2] + 1j * total[3]), volts))

    def _keep(self, board: str, window: int, phasor: _Phasor) -> None:
        windows = self._windows[board]
        windows[window] = phasor
        while len(windows) > th.KEPT_WINDOWS:
            windows.pop(next(iter(windows)))

    def _compared(self, pair: tuple[str, str]) -> list[Phasing]:
        one, other = (self._windows[board] for board in pair)
        settled_s = max(self._since_s.get(board, math.inf) for board in pair) + th.SETTLING_S
        if self._kinds.get(pair[0]) != self._kinds.get(pair[1]):
            return []
        found = []
        for window in sorted(one.keys() & other.keys()):
            (angle, volts), (other_angle, other_volts) = one.pop(window), other.pop(window)
            if window * th.WINDOW_S < settled_s or not angle * other_angle:
                continue
            turned = angle * other_angle.conjugate()
            self._recent[pair].append((turned / abs(turned), (volts, other_volts)))
            phasing = self._judged(pair, window)
            found += [phasing] if phasing is not None else []
        return found

    def _judged(self, pair: tuple[str, str], window: int) -> Phasing | None:
        recent = self._recent[pair]
        mean = sum((turned for turned, _ in recent), 0j)
        if len(recent) < th.STEADY_WINDOWS or not mean:
            return None
        spread = max(abs(math.degrees(cmath.phase(turned / mean))) for turned, _ in recent)
        degrees = math.degrees(cmath.phase(mean))
        within = th.ACROSS_TOLERANCE_DEGREES + th.CLOCKS_DEGREES
        if spread > th.ACROSS_STEADY_DEGREES or within < abs(degrees) < 180 - within:
            return None
        verdict = "in-phase" if abs(degrees) <= within else "anti-phase"
        if self._told.get(pair) == verdict:
            return None
        self._told[pair] = verdict
        supplies = self._supplies[pair[0]], self._supplies[pair[1]]
        volts, degrees_apart = np.array(recent[-1][1])[:, None], np.array([0.0 if verdict == "in-phase" else 180.0])
        difference = float(difference_volts(volts, 0 * volts, degrees_apart, 0 * volts + 180.0)[0])
        amps = circulating_amps(difference, source_ohms(supplies[0]), source_ohms(supplies[1]))
        return Phasing(
            supplies=(supplies[0].name, supplies[1].name),
            verdict="in-phase" if verdict == "in-phase" else "anti-phase",
            difference_volts=difference,
            degrees=degrees,
            start_s=(window + 1) * th.WINDOW_S,
            advice=f"By two boards' clocks, good to about {th.CLOCKS_DEGREES:.0f} degrees: confirm it with a meter (pilotlamp phase). "
            + phasing_advice("in-phase" if verdict == "in-phase" else "anti-phase", difference, amps),
            circulating_amps=amps,
        )


def _one_supply_a_board(layout: Layout) -> dict[str, Supply]:
    """Board to the first AC supply that it measures and no board before it does; boards of the first one's rate only."""
    found: dict[str, Supply] = {}
    rates = {board.name: (board.baud, board.lines is None) for board in layout.board}
    for board in layout.board:
        measured = [layout.supply_named(district.supply) for district in layout.districts_of_board(board.name)]
        fresh = [supply for supply in measured if supply.current == "ac" and supply not in found.values()]
        alike = not found or rates[board.name] == rates[next(iter(found))]
        if fresh and alike and board.lines is None:
            found[board.name] = fresh[0]
    return found
