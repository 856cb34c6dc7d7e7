"""The sensor board's front end: filters, one channel after the other, drift, noise, errors of zero and gain, clipping, whole counts."""

import numpy as np
from numpy.typing import NDArray

from monitor.rehearsal.model_specs import BenchSpec
from monitor.values import Channel, Identity
from monitor.values.arrays import Floats

DRIFT_S = 100.0
"""The reference swings this slowly: a supply that warms up (common practice, no published source)."""


def edge_answer(times_s: Floats, ramp_s: float, tau_s: float) -> Floats:
    """How much of a ramp a one-pole low-pass shows, some time after its beginning (textbook); 0 before."""
    late = np.maximum(times_s, 0.0)
    rising = (late - tau_s * -np.expm1(-late / tau_s)) / ramp_s
    settling = 1 - tau_s / ramp_s * -np.expm1(-ramp_s / tau_s) * np.exp(-np.maximum(late - ramp_s, 0.0) / tau_s)
    return np.where(late < ramp_s, rising, settling)


class Converter:
    """The converter of one bench.

    Attributes:
        identity: What the board says of itself.
        sources: By channel: (district, "volts", "amps" or "far").
    """

    def __init__(self, spec: BenchSpec, rng: np.random.Generator) -> None:
        self._spec = spec.converter
        self._rng = rng
        self.sources: list[tuple[int, str]] = []
        for n in range(len(spec.districts)):
            self.sources += [(n, "volts"), (n, "amps")]
        self.sources += [(n, "far") for n, district in enumerate(spec.districts) if district.has_far_volts]
        count = len(self.sources)
        self._zero_error = rng.normal(0, self._spec.zero_error_counts, count)
        self._gain = 1 + rng.normal(0, self._spec.gain_error, count)
        self._stuck: int | None = None
        self.identity = self._identity(spec)

    def seen_s(self, channel: int, first_scan: int, scans: int) -> Floats:
        """Seconds from the start of each scan to the moment of the rail that this channel shows: its conversion, less its filter's delay."""
        begins_s = np.arange(first_scan, first_scan + scans) * self._spec.scan_interval_s
        asked_s = begins_s + channel * self._spec.conversion_s
        begun_s = np.ceil(asked_s / self._spec.alignment_s) * self._spec.alignment_s
        return np.asarray(begun_s - begins_s - self._spec.filter_s)

    def counts(self, channel: int, values: Floats, first_scan: int) -> NDArray[np.int16]:
        """Counts for true volts or amps of one channel, shape (scans,), from a scan on."""
        described = self.identity.channels[channel]
        district, what = self.sources[channel]
        if what == "amps" and district in self._spec.reversed_amps:
            values = -values
        seconds = np.arange(first_scan, first_scan + len(values)) * self._spec.scan_interval_s
        values = values * (1 + self._spec.reference_drift * np.sin(2 * np.pi * seconds / DRIFT_S))
        raw = values / described.units_per_count * self._gain[channel] + described.zero_counts + self._zero_error[channel]
        raw = raw + self._rng.standard_normal(len(values), dtype=np.float32) * self._spec.noise_counts
        counts: NDArray[np.int16] = np.clip(np.rint(raw), 0, (1 << self._spec.bits) - 1).astype(np.int16)
        if channel == self._spec.stuck_channel:
            self._hang(counts, first_scan)
        return counts

    def _hang(self, counts: NDArray[np.int16], first_scan: int) -> None:
        begin = round(self._spec.stuck_from_s / self._spec.scan_interval_s) - first_scan
        if begin >= len(counts):
            return
        if self._stuck is None:
            self._stuck = int(counts[max(begin, 0)])
        counts[max(begin, 0) :] = self._stuck

    def _identity(self, spec: BenchSpec) -> Identity:
        full = 1 << self._spec.bits
        channels = tuple(
            Channel(
                quantity="A" if what == "amps" else "V",
                skew_s=round(n * self._spec.conversion_s, 6),
                units_per_count=(self._spec.amps_span if what == "amps" else self._spec.volts_span) * 2 / full,
                zero_counts=float(full // 2),
            )
            for n, (_, what) in enumerate(self.sources)
        )
        return Identity(
            number=spec.board_number, name=spec.board_name, scan_interval_s=self._spec.scan_interval_s, channels=channels
        )
