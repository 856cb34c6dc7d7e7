"""Wire bytes of simple known waveforms for tests of the pipeline."""

import numpy as np

from monitor.layout import parse_layout
from tests.layout.fernhollow import FERNHOLLOW
from tests.wire.bytestreams import health_packet, identity, identity_packet, samples_packet

INTERVAL_S = 832e-6
VOLTS_PER_COUNT, AMPS_PER_COUNT, ZERO = 0.0703125, 0.05859375, 512


def plain_layout():
    """Fernhollow without calibration and without the far channel."""
    text = FERNHOLLOW.split("[calibration")[0].replace("far_volts_channel = 4\n", "")
    return parse_layout(text)


def sine_counts(seconds, volts_rms=(15.0, 12.0), amps_rms=(3.0, 1.0), hertz=60.0, start_s=0.0):
    """Counts of two districts with sine volts and amps in phase; shape (scans, 4), quantised as a 10-bit converter does."""
    times = start_s + np.arange(round(seconds / INTERVAL_S))[:, None] * INTERVAL_S + np.arange(4)[None, :] * 104e-6
    peaks = np.sqrt(2) * np.array([volts_rms[0], amps_rms[0], volts_rms[1], amps_rms[1]])
    scales = np.array([VOLTS_PER_COUNT, AMPS_PER_COUNT] * 2)
    return np.clip(np.round(ZERO + peaks * np.sin(2 * np.pi * hertz * times) / scales), 0, 1023).astype(np.int16)


def packed_stream(counts, first_scan=0, with_head=True):
    """The counts as a board sends them: identity and health at the start, 30 scans (of 4 channels) a packet."""
    made = identity(channels=4)
    stream, sequence = (b"\0" + identity_packet(made, 0) + health_packet(0.0, 1), 2) if with_head else (b"", 0)
    for start in range(0, len(counts), 30):
        stream += samples_packet(first_scan + start, counts[start : start + 30], sequence)
        sequence += 1
    return stream
