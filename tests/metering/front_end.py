"""Phase-cut mains as a sensor board's converter meets it: finite edges, the board's own filter, coarse starts of conversions.

An oracle for the meter that shares nothing with it. One period is drawn point by point (some 0.3 us apart), its Fourier series is
divided by 1 + j w tau (the exact steady answer of a resistor and a capacitor, textbook), and the converter takes samples off that.
True figures are sums over the drawn period, before the filter.
"""

from dataclasses import dataclass, field

import numpy as np

POINTS = 1 << 16
"""Points of one period."""
BOARD_TAU_S = 56.4e-6
"""94 k and 6 k in parallel with 10 nF, as the wiring notes have it."""
ALIGNMENT_S = 12e-6
"""A conversion begins with the next tick of the converter's prescaled clock, a few microseconds after it was asked for."""


@dataclass(frozen=True, kw_only=True)
class CutMains:
    """Mains of which both half cycles are cut up to a firing angle, on a resistive load.

    Attributes:
        degrees: Firing angle of the half cycle that goes up.
        unequal: So much later fires the other half cycle, degrees.
        edge_s: Time that the edge takes from nothing to the sine, a straight ramp.
        third: Share of third harmonic, cosine phase against the fundamental's sine by angle ``third_degrees``.
        hertz: Mains frequency.
        rms: RMS volts of the uncut fundamental.
        tau_s: Time constant of the filter of each channel, volts and amps.
        ohms: Load.
    """

    degrees: float
    unequal: float = 0.0
    edge_s: float = 0.0
    third: float = 0.0
    third_degrees: float = 0.0
    hertz: float = 60.0
    rms: float = 16.0
    tau_s: tuple[float, float] = (BOARD_TAU_S, BOARD_TAU_S)
    ohms: float = 4.0
    _made: dict = field(default_factory=dict, repr=False)

    def rail(self):
        """Volts of one period, shape (POINTS,), point k at (k + 0.5) / POINTS of it."""
        angle = 2 * np.pi * (np.arange(POINTS) + 0.5) / POINTS
        whole = np.sin(angle) + self.third * np.sin(3 * angle + np.radians(self.third_degrees))
        fired = np.radians(np.where(angle < np.pi, self.degrees, self.degrees + self.unequal))
        ramp = max(2 * np.pi * self.hertz * self.edge_s, 2 * np.pi / POINTS)
        return self.rms * np.sqrt(2) * whole * np.clip((angle % np.pi - fired) / ramp, 0, 1)

    def truth(self):
        """RMS volts, RMS amps and watts of the rail over whole cycles."""
        rms = float(np.sqrt(np.mean(self.rail() ** 2)))
        return rms, rms / self.ohms, rms**2 / self.ohms

    def sampled(self, times_s, channel):
        """What stands at the converter's pin, volts (channel 0) or amps (channel 1), at some moments."""
        if channel not in self._made:
            spectrum = np.fft.rfft(self.rail() / (1 if channel == 0 else self.ohms))
            turns = 2j * np.pi * self.hertz * np.arange(len(spectrum))
            self._made[channel] = np.fft.irfft(spectrum / (1 + turns * self.tau_s[channel]), POINTS)
        place = (times_s * self.hertz % 1.0) * POINTS - 0.5
        below = np.floor(place).astype(int)
        table, share = self._made[channel], place - below
        return (1 - share) * table[below % POINTS] + share * table[(below + 1) % POINTS]


def counts_of(waves, identity, seconds, *, noise=0.5, seed=0, start_s=0.0, alignment_s=ALIGNMENT_S):
    """Counts of a 10-bit converter, shape (scans, channels).

    Args:
        waves: For each channel a function of moments (seconds, array).
        identity: The board: interval, skews, scales.
        seconds: How long.
        noise: Standard deviation of the converter's noise, counts.
        seed: For the noise.
        start_s: Moment of the first scan.
        alignment_s: Conversions begin with the next multiple of this; 0: at once.
    """
    rng = np.random.default_rng(seed)
    scans = start_s + np.arange(round(seconds / identity.scan_interval_s)) * identity.scan_interval_s
    columns = []
    for channel, wave in zip(identity.channels, waves, strict=True):
        asked = scans + channel.skew_s
        begun = np.ceil(asked / alignment_s) * alignment_s if alignment_s else asked
        raw = channel.zero_counts + wave(begun) / channel.units_per_count + rng.normal(0, noise, len(begun))
        columns.append(np.clip(np.rint(raw), 0, 1023))
    return np.stack(columns, axis=1).astype(np.int16)
