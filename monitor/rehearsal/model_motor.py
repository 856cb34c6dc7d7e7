"""Motors as loads: two kinds, each with the current it draws and the torque it gives for it (textbook machine equations).

A series (universal) motor looks like a resistance that grows with speed, and its torque goes with the current squared. A magnet
motor has a back-EMF that grows with speed, and its torque goes with the current. Torque 1 is that of level running.
"""

import math

from monitor.rehearsal.model_specs import TrainSpec

_AC_EMF_SHARE = 0.55
"""Back-EMF over peak volts of a magnet motor behind a rectifier at its running point."""


class Motor:
    """Electrical state of one engine.

    Attributes:
        speed: 1 on the level at run_volts.
        siemens: Conductance of a series motor now; of the conducting branch of a magnet motor.
        emf: Back-EMF of a magnet motor now, volts; 0 for a series motor.
    """

    __slots__ = ("_emf_per_speed", "_is_ac", "_series_ohms", "_slope", "_spec", "emf", "siemens", "speed")

    def __init__(self, spec: TrainSpec, *, is_ac: bool) -> None:
        self._spec = spec
        self._is_ac = is_ac
        self._slope = spec.start_ratio - 1
        self._series_ohms = spec.run_volts / spec.run_amps / spec.start_ratio
        if is_ac:
            self._emf_per_speed = math.sqrt(2) * spec.run_volts * _AC_EMF_SHARE
            self._series_ohms = (
                self._series_ohms
                if spec.motor == "series"
                else rectified_mean(spec.run_volts, self._emf_per_speed) / spec.run_amps
            )
        elif spec.motor == "magnet":
            self._emf_per_speed = spec.run_volts * (1 - spec.armature)
            self._series_ohms = spec.run_volts * spec.armature / spec.run_amps
        else:
            self._emf_per_speed = 0.0
        self.speed = 1.0
        self.siemens = 0.0
        self.emf = 0.0
        self._refresh()

    def step(self, volts_rms: float, contact: float, load: float, dt_s: float) -> None:
        """Move on by dt_s at the given RMS volts, share of time in contact, and load (1: level running)."""
        spec = self._spec
        per_amp = self.amps_for_torque(volts_rms) / spec.run_amps
        torque = contact * (per_amp * per_amp if spec.motor == "series" else per_amp)
        drag = load * (1 - spec.drag + spec.drag * self.speed * self.speed)
        self.speed = min(max(self.speed + (torque - drag) * dt_s / spec.inertia_s, 0.0), 3.0)
        self._refresh()

    def amps_for_torque(self, volts_rms: float) -> float:
        """The current that makes torque: RMS of a series motor, mean of a magnet motor."""
        if self._spec.motor == "series":
            return volts_rms * self.siemens
        if self._is_ac:
            return rectified_mean(volts_rms, self.emf) * self.siemens
        return max(volts_rms - self.emf, 0.0) * self.siemens

    def equivalent_siemens(self, volts_rms: float) -> float:
        """RMS amps over RMS volts at these volts."""
        if self._spec.motor == "series" or volts_rms < 0.1:
            return self.siemens if self._spec.motor == "series" else 0.0
        if self._is_ac:
            return rectified_rms(volts_rms, self.emf) * self.siemens / volts_rms
        return max(volts_rms - self.emf, 0.0) * self.siemens / volts_rms

    def _refresh(self) -> None:
        if self._spec.motor == "series":
            self.siemens = 1 / (self._series_ohms * (1 + self._slope * self.speed))
        else:
            self.siemens = 1 / self._series_ohms
            self.emf = self._emf_per_speed * self.speed


def rectified_mean(volts_rms: float, emf: float) -> float:
    """Mean over a cycle of max(|v| - emf, 0) for a sine v: integral of the part of the sine above emf."""
    peak = math.sqrt(2) * volts_rms
    if emf >= peak:
        return 0.0
    x = emf / peak
    return 2 * peak / math.pi * (math.sqrt(1 - x * x) - x * math.acos(x))


def rectified_rms(volts_rms: float, emf: float) -> float:
    """RMS over a cycle of max(|v| - emf, 0) for a sine v."""
    peak = math.sqrt(2) * volts_rms
    if emf >= peak:
        return 0.0
    low = math.asin(emf / peak)
    span = math.pi - 2 * low
    square = (peak * peak / 2 + emf * emf) * span + peak * peak / 2 * math.sin(2 * low) - 4 * peak * emf * math.cos(low)
    return math.sqrt(max(square, 0.0) / math.pi)
