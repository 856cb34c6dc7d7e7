"""Bad places of the track, and dirt everywhere: what happens to a train because of where it is."""

from typing import Protocol

import numpy as np

from monitor.rehearsal import model_frame as shapes
from monitor.rehearsal.model_acts import Act
from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame, Pulse, Track
from monitor.rehearsal.model_slow import SlowBench
from monitor.rehearsal.model_specs import BenchSpec, ModelSpot
from monitor.values import Cause
from monitor.values.arrays import Floats

_MARGIN_S = 0.4


class Stage(Protocol):
    """Where pulses and labels go."""

    def lay(self, track: Track, row: int, start_scan: int, values: Floats) -> Pulse:
        """Put a pulse on the bench."""

    def note(self, cause: Cause, district: int, start_scan: int, scans: int) -> None:
        """Label an event."""

    def is_powered(self, district: int) -> bool:
        """Whether volts are up."""


class Places:
    """Watches trains pass bad places."""

    def __init__(self, spec: BenchSpec, slow: SlowBench, stage: Stage, rng: np.random.Generator) -> None:
        self._spec = spec
        self._slow = slow
        self._stage = stage
        self._rng = rng
        self._interval_s = spec.converter.scan_interval_s
        self._kept_clear: set[tuple[int, int, int]] = set()
        self._lost_until = [0] * len(spec.trains)

    def keep_clear(self, act: Act, start_scan: int, end_scan: int) -> None:
        """No event of a place is to fall in these scans of the act's district (-1: of any)."""
        district = getattr(act, "district", -1)
        self._kept_clear.add((district, start_scan, end_scan))

    def dirt(self, frame: Frame) -> None:
        """Very short losses of contact over one block, too short to matter and not labelled."""
        for n, train in enumerate(self._spec.trains):
            seconds = frame.scans * self._interval_s
            for _ in range(int(self._rng.poisson(train.dirt_rate * seconds)) if train.dirt_rate else 0):
                scans = int(self._rng.uniform(0.002, 0.014) / self._interval_s)
                start = frame.start_scan + int(self._rng.integers(0, frame.scans - scans))
                self._stage.lay("contact", n, start, np.full(max(scans, 1), self._rng.uniform(0, 0.5)))
        self._kept_clear = {kept for kept in self._kept_clear if kept[2] > frame.start_scan - 10_000}

    def after_tick(self, next_scan: int, steps: list[float]) -> None:
        """Trains have moved: what they passed acts from next_scan on."""
        for spot in self._spec.spots:
            for n, train in enumerate(self._slow.trains):
                passed = train.district == spot.district and train.going_to is None and steps[n] > 0
                if passed and (spot.place - (train.travelled - steps[n])) % 1.0 < steps[n] and self._rng.random() < spot.chance:
                    self._act(spot, n, next_scan + int(self._rng.integers(0, SCANS_PER_TICK)))

    def lose_contact(self, n: int, start: int, scans: int, *, cars_too: bool) -> None:
        """A train loses contact, unless it has none anyway."""
        district = self._slow.trains[n].engine_district(start)
        if district < 0 or start < self._lost_until[n] + 300 or not self._is_clear(district, start, start + scans):
            return
        if self._slow.trains[n].motor.speed < 0.12:
            return
        self._lost_until[n] = start + scans
        values = shapes.lost_contact(self._rng, scans)
        self._stage.lay("contact", n, start, values)
        if cars_too:
            self._stage.lay("cars", n, start, values)
        self._stage.note(Cause.LOST_CONTACT, district, start, scans)

    def _act(self, spot: ModelSpot, n: int, start: int) -> None:
        speed = max(self._slow.trains[n].motor.speed, 0.3)
        seconds = self._rng.uniform(*spot.seconds) / min(speed, 2.0)
        if spot.joint_ohms is None:
            scans = round(min(max(seconds, 0.03), 0.5) / self._interval_s)
            self.lose_contact(n, start, scans, cars_too=bool(self._rng.random() < 0.3))
            return
        scans = round(seconds / self._interval_s)
        if not self._stage.is_powered(spot.district) or not self._is_clear(spot.district, start, start + scans):
            return
        self._stage.lay("joint", n, start, shapes.joint(self._rng, scans, self._rng.uniform(*spot.joint_ohms)))
        self._stage.note(Cause.WEAK_JOINT, spot.district, start, scans)

    def _is_clear(self, district: int, start: int, end: int) -> bool:
        margin = round(_MARGIN_S / self._interval_s)
        if not self._stage.is_powered(district):
            return False
        return not any(
            kept[0] in (district, -1) and kept[1] - margin < end and start < kept[2] + margin for kept in self._kept_clear
        )
