"""One-cycle RMS, frequency and events as pqopen-lib has them.

Its quirks: it wants a low zero-crossing threshold at toy volts, and works from samples without skew, so it is fed 12 kHz.
"""

import numpy as np
from daqopen.channelbuffer import AcqBuffer
from pqopen.powersystem import PowerSystem

RATE_HZ = 12_000


def one_cycle(volts, amps, seconds, hertz):
    """Half-cycle-refreshed one-cycle RMS volts, one-cycle watts and their times."""
    times = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    channels = [AcqBuffer(size=len(times) + 1, dtype=np.float32) for _ in range(2)]
    system = PowerSystem(
        zcd_channel=channels[0],
        input_samplerate=RATE_HZ,
        zcd_threshold=0.05,
        nominal_frequency=hertz,
        nper=12 if hertz == 60 else 10,
    )
    system.add_phase(u_channel=channels[0], i_channel=channels[1])
    for channel, wave in zip(channels, (volts, amps), strict=True):
        channel.put_data(wave(times).astype(np.float32))
    system.process()
    out = system.output_channels
    found = {}
    for name in ("U1_1p_hp_rms", "P1", "U1_rms", "I1_rms"):
        values, index = out[name].read_data_by_acq_sidx(0, len(times))
        found[name] = (np.array(index) / RATE_HZ, np.array(values))
    return found
