"""A multiplexed 10-bit converter with skew and noise, for tests: continuous waveforms in, counts out."""

import numpy as np

from monitor.layout import parse_layout
from monitor.metering import BoardMeter
from monitor.values import Channel, Identity, SampleBlock
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

INTERVAL_S = 832e-6
SKEW_S = 104e-6
VOLTS_PER_COUNT, AMPS_PER_COUNT, ZERO = 0.0703125, 0.05859375, 512
FULL_VOLTS, FULL_AMPS = 36.0, 30.0


def layout_of(districts=1, hertz=60, supplies=1, current="ac", calibration="", filter_us=0.0):
    """District k hangs on channels 2k and 2k+1; supplies are dealt round; no filter before this converter."""
    text = f"{head_text(hertz)}filter_us = {filter_us}\n"
    text += "".join(supply_text(f"Supply {k}", current=current) + output_text("A", f"Supply {k}") for k in range(supplies))
    text += "".join(district_text(k, f"District {k}", f"Supply {k % supplies}") for k in range(districts))
    return parse_layout(text + calibration)


def identity_of(channels=2, interval_s=INTERVAL_S, skew_s=SKEW_S):
    made = tuple(
        Channel(
            quantity="VA"[k % 2], skew_s=k * skew_s, units_per_count=(VOLTS_PER_COUNT, AMPS_PER_COUNT)[k % 2], zero_counts=ZERO
        )
        for k in range(channels)
    )
    return Identity(number=0, name="bench-1", scan_interval_s=interval_s, channels=made)


def counts_of(waves, seconds, *, identity=None, noise=0.5, seed=0, start_s=0.0):
    """Counts of continuous waveforms.

    Args:
        waves: One function of time (seconds, array) a channel, volts or amps; each is asked at its own moments.
        seconds: How long.
        identity: The board; by default one of as many channels as waves.
        noise: Standard deviation of the converter's noise, counts.
        seed: For the noise.
        start_s: Moment of the first scan.
    """
    identity = identity or identity_of(len(waves))
    rng = np.random.default_rng(seed)
    times = start_s + np.arange(round(seconds / identity.scan_interval_s)) * identity.scan_interval_s
    columns = [
        np.round(c.zero_counts + wave(times + c.skew_s) / c.units_per_count + rng.normal(0, noise, len(times)))
        for c, wave in zip(identity.channels, waves, strict=True)
    ]
    return np.clip(np.stack(columns, axis=1), 0, 1023).astype(np.int16)


def blocks_of(counts, identity, sizes=None, *, start_s=0.0, first_scan=0, continues=False):
    """The counts as blocks of the given sizes (dealt round)."""
    start, k, sizes = 0, 0, sizes or [len(counts)]
    while start < len(counts):
        size = sizes[k % len(sizes)]
        yield SampleBlock(
            board="bench-1",
            identity=identity,
            start_s=start_s + start * identity.scan_interval_s,
            interval_s=identity.scan_interval_s,
            first_scan=first_scan + start,
            counts=counts[start : start + size],
            continues=continues or start > 0,
        )
        start, k = start + size, k + 1


def metered(waves, seconds, *, layout=None, identity=None, sizes=None, noise=0.5, start_s=0.0, seed=0):
    """What the meter makes of continuous waveforms."""
    identity = identity or identity_of(len(waves))
    counts = counts_of(waves, seconds, identity=identity, noise=noise, start_s=start_s, seed=seed)
    return metered_counts(counts, identity, layout or layout_of(len(waves) // 2), sizes)


def metered_counts(counts, identity, layout, sizes=None):
    meter = BoardMeter(layout, "bench-1")
    out = None
    for block in blocks_of(counts, identity, sizes):
        made = meter.feed(block)
        if out is None:
            out = made
        else:
            out.add(made)
    out.add(meter.finish())
    return out


def joined(blocks, name):
    return np.concatenate([getattr(block, name) for block in blocks])


def sine(rms, hertz=60.0, degrees=0.0, offset=0.0):
    return lambda t: offset + np.sqrt(2) * rms * np.sin(2 * np.pi * hertz * t + np.radians(degrees))


def phase_cut(rms, degrees, hertz=60.0, load=1.0):
    """A sine of that RMS, both half cycles cut up to the firing angle."""

    def wave(t):
        angle = 2 * np.pi * hertz * t
        return np.where(angle % np.pi >= np.radians(degrees), np.sqrt(2) * rms * np.sin(angle), 0.0) / load

    return wave


def rectified(rms, hertz=60.0, *, half=False, load=1.0):
    def wave(t):
        value = np.sqrt(2) * rms * np.sin(2 * np.pi * hertz * t)
        return (np.maximum(value, 0) if half else np.abs(value)) / load

    return wave


def pulsed(volts, duty, hertz, load=1.0):
    return lambda t: np.where((t * hertz) % 1.0 < duty, volts, 0.0) / load


def chopped(volts, carrier_hertz, *, tau_s=56.4e-6, sweep=0.0, square=True, whole=False, hertz=60.0, load=1.0):
    """An electronic transformer's output behind a one-pole filter: rectified mains, turned over some ten thousand times a second.

    Closed form, for an envelope that is slow against the filter: each odd harmonic of the carrier is divided by 1 + j w tau (textbook).

    Args:
        volts: RMS of the output.
        carrier_hertz: Mean frequency of the carrier.
        tau_s: Time constant of the filter.
        sweep: Share by which the carrier follows the envelope, as those of free-running converters do.
        square: Else a sine.
        whole: The envelope is smoothed, so that only the carrier is left.
        hertz: Mains frequency.
        load: Ohms, for amps in place of volts.
    """

    def wave(t):
        angle = 2 * np.pi * hertz * t
        turns = carrier_hertz * (t + sweep * np.sin(2 * angle) / (4 * np.pi * hertz))
        orders = np.arange(1, 40, 2) if square else np.array([1])
        sizes = 4 / np.pi / orders if square else np.array([np.sqrt(2)])
        lags = 2 * np.pi * carrier_hertz * orders * tau_s
        harmonics = (sizes / np.hypot(1, lags))[:, None] * np.sin(2 * np.pi * orders[:, None] * turns - np.arctan(lags)[:, None])
        envelope = 1.0 if whole else np.sqrt(2) * np.abs(np.sin(angle))
        return volts * envelope * harmonics.sum(axis=0) / load

    return wave
