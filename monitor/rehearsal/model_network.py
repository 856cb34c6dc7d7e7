"""Volts and amps of all districts of one supply at any angle of the mains: a Thevenin source shared by loads (Kirchhoff).

Each district sees drive - R_own i_d - R_source (sum of i); its load is a conductance plus, for magnet motors, a branch that
conducts only above its back-EMF.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.rehearsal.model_specs import SupplySpec, WaveKind
from monitor.values.arrays import Floats

_ANGLES = np.linspace(0, np.pi, 721)
_CUT_RMS = np.sqrt(np.clip(1 - _ANGLES / np.pi + np.sin(2 * _ANGLES) / (2 * np.pi), 0, 1))
_LAGS = ((0.205, 1 / 3), (0.78, 1 / 3), (2.015, 1 / 3))
"""Delays (in mean delays) and weights that stand for the exponential step response of a winding."""


def firing_angle(level: Floats) -> Floats:
    """Angle at which a phase-cut output turns on for a given RMS share: Vrms/V = sqrt(1 - a/pi + sin 2a / 2pi), inverted."""
    return np.interp(level, _CUT_RMS[::-1], _ANGLES[::-1])


@dataclass(slots=True, kw_only=True)
class DistrictLoad:
    """What one district is and draws over a block; arrays of shape (scans,).

    Attributes:
        wave: What its output makes of the secondary's volts.
        level: Throttle with boost, share of the full RMS volts.
        feed: 1 where the output is connected.
        dc_volts: Offset added to the drive.
        plain: Conductance of lamps and other loads without lag.
        series: Conductance of series motors; their current lags by lag_rad.
        lag_rad: Lag at mains frequency.
        magnet: Conductance of magnet motors' branches.
        own_ohms: Output resistance of its own.
        feeder_ohms: Between sensor and load.
    """

    wave: WaveKind
    level: Floats
    feed: Floats
    dc_volts: Floats
    plain: Floats
    series: Floats
    lag_rad: float
    magnet: Floats
    emf: Floats
    own_ohms: float
    feeder_ohms: Floats


@dataclass(frozen=True, slots=True)
class Solved:
    """Volts at the sensors, volts at the loads, amps; one array per district."""

    volts: list[Floats]
    load_volts: list[Floats]
    amps: list[Floats]


class WaveNetwork:
    """One supply over one block."""

    def __init__(
        self, spec: SupplySpec, open_volts: Floats, loads: list[DistrictLoad], edge: Callable[[Floats], Floats] = np.sign
    ) -> None:
        """Set up.

        Args:
            spec: The supply.
            open_volts: Its open-circuit volts at each scan.
            loads: What hangs on its outputs.
            edge: Share of the volts that is there some angle of the mains after a triac fired.
        """
        self._spec = spec
        self._edge = edge
        self._open_volts = open_volts
        self._loads = loads
        third, fifth = spec.harmonics
        self._scale = np.sqrt(2 / (1 + third**2 + fifth**2))
        self._firing = [firing_angle(load.level) if load.wave == "phase-cut" else None for load in loads]
        self._has_magnets = [bool(load.magnet.any()) for load in loads]

    def volts(self, theta: Floats) -> Solved:
        """Everything at the given angles of the mains, currents without the lag of windings."""
        drives = [self._drive(n, theta) for n in range(len(self._loads))]
        closed = [self._closed(n, theta) for n in range(len(self._loads))]
        solved = self._solve(drives, closed, [load.plain + load.series for load in self._loads], None)
        if any(self._has_magnets):
            conducts = [
                (np.abs(volts) > load.emf) & (load.magnet > 0) for volts, load in zip(solved.load_volts, self._loads, strict=True)
            ]
            solved = self._solve(drives, closed, [load.plain + load.series for load in self._loads], conducts)
        return solved

    def amps(self, n: int, theta: Floats) -> Floats:
        """Amps of one district with the lag of series windings."""
        load = self._loads[n]
        now = self.volts(theta)
        if self._spec.current == "dc" or load.lag_rad == 0 or not load.series.any():
            return now.amps[n]
        lags = _LAGS if load.wave == "phase-cut" else ((1.0, 1.0),)
        lagging = sum((weight * self.volts(theta - load.lag_rad * delay).load_volts[n] for delay, weight in lags), np.zeros(()))
        return now.amps[n] + load.feed * load.series * (lagging - now.load_volts[n])

    def _carrier(self, theta: Floats) -> Floats:
        third, fifth = self._spec.harmonics
        angle = theta + self._spec.phase_rad
        wave = np.sin(angle)
        if third or fifth:
            # sin 3x = 3s - 4s^3 and sin 5x = 5s - 20s^3 + 16s^5, much cheaper than two more sines.
            square = wave * wave
            wave = wave * (1 + third * (3 - 4 * square) + fifth * (5 + square * (16 * square - 20)))
        return np.asarray(self._scale * wave)

    def _drive(self, n: int, theta: Floats) -> Floats:
        load = self._loads[n]
        if load.wave == "filtered":
            ripple = 1 + self._spec.ripple * np.cos(2 * (theta + self._spec.phase_rad))
            return self._open_volts * load.level * ripple
        if load.wave == "pulsed":
            # As many RMS volts as the level says: its square is the duty.
            on = (theta * self._spec.pulses_per_cycle / (2 * np.pi)) % 1.0 < load.level**2
            return np.asarray(np.where(on, self._open_volts, 0.0))
        wave = self._open_volts * self._carrier(theta)
        if load.wave == "phase-cut":
            return wave + load.dc_volts
        wave = wave * load.level
        if load.wave == "half-wave":
            return np.asarray(np.sqrt(2) * np.maximum(wave, 0.0))
        return np.abs(wave) if load.wave == "rectified" else wave + load.dc_volts

    def _closed(self, n: int, theta: Floats) -> Floats:
        load = self._loads[n]
        firing = self._firing[n]
        if firing is None:
            return load.feed
        return load.feed * np.maximum(self._edge((theta + self._spec.phase_rad) % np.pi - firing), 0.0)

    def _solve(
        self, drives: list[Floats], closed: list[Floats], siemens: list[Floats], conducts: list[np.ndarray] | None
    ) -> Solved:
        slopes: list[Floats] = []
        offsets: list[Floats] = []
        for n, load in enumerate(self._loads):
            total, pull = siemens[n], np.zeros(())
            if conducts is not None and self._has_magnets[n]:
                branch = load.magnet * conducts[n]
                total, pull = total + branch, branch * load.emf * np.sign(drives[n])
            through = closed[n] / (1 + (load.own_ohms + load.feeder_ohms) * total)
            slopes.append(total * through)
            offsets.append(pull * through)
        push = sum((a * drive - b for a, b, drive in zip(slopes, offsets, drives, strict=True)), np.zeros(()))
        total_amps = push / (1 + self._spec.source_ohms * sum(slopes, np.zeros(())))
        solved = Solved([], [], [])
        for n, load in enumerate(self._loads):
            source = drives[n] - self._spec.source_ohms * total_amps
            amps = slopes[n] * source - offsets[n]
            if self._spec.current == "dc":
                amps = np.maximum(amps, 0.0)
            terminal = closed[n] * (source - load.own_ohms * amps)
            if self._spec.current == "dc":
                terminal = self._coasting(n, terminal, closed[n], siemens[n])
            solved.volts.append(terminal)
            solved.load_volts.append(terminal - load.feeder_ohms * amps)
            solved.amps.append(amps)
        return solved

    def _coasting(self, n: int, terminal: Floats, closed: Floats, siemens: Floats) -> Floats:
        """On DC a coasting magnet motor feeds the rails when the supply does not."""
        load = self._loads[n]
        if not self._has_magnets[n]:
            return terminal
        generated = load.magnet * load.emf / (load.magnet + siemens + 1e-9)
        return np.where(closed > 0, np.maximum(terminal, generated), generated)
