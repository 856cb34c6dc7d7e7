"""The packed board on an RP2040, run in the npm package rp2040js, judged by the volts put on its converter."""

import math
import struct

import numpy as np
import pytest
from fastcrc import crc32

from tests.firmware import bench, packets, toolchain
from tests.firmware.bench import amps_wave, volts_wave

pytestmark = pytest.mark.avr
SCAN_S = 19384 / 48e6
"""Eight slots of 2423 cycles of the converter's 48 MHz."""
VOLTS_LIMIT = 0.001 * bench.SMALL_DIVIDER_BIAS_MV / bench.SMALL_DIVIDER_GAIN / 1000
AMPS_LIMIT = 0.001 * bench.SMALL_SENSOR_BIAS_MV / bench.SMALL_SENSOR_MV_PER_AMP
"""A thousandth of what the converter spans."""

# By converter input, +4 at the analogue switch's other side; 24 V with mains 10 % high just fits.
WAVES = bench.at_3v3(
    {
        0: volts_wave(16.0, noise_mv=1),
        1: amps_wave(3.0, phase_degrees=-40, noise_mv=1),
        2: volts_wave(26.4, hertz=50, noise_mv=1),
        3: amps_wave(12.0, hertz=50, phase_degrees=-60, noise_mv=1),
        4: volts_wave(14.0, noise_mv=1),
        5: amps_wave(0.4, noise_mv=1),
        6: volts_wave(9.0, phase_degrees=180, noise_mv=1),
        7: amps_wave(6.0, phase_degrees=150, noise_mv=1),
    }
)
RMS = [16.0, 3.0, 26.4, 12.0, 14.0, 0.4, 9.0, 6.0]


def injected(channels):
    """Waves by pin of the harness, for a board of so many channels: with three pins, channel k is on pin k % 3, side k // 3."""
    return WAVES if channels != 6 else {channel % 3 + 4 * (channel // 3): WAVES[channel] for channel in range(6)}


@pytest.mark.parametrize(("defines", "channels"), [((), 4), (("SWITCHED=1",), 8), (("SWITCHED=1", "PINS=3"), 6)])
def test_it_sends_what_was_injected_and_loses_nothing(defines, channels):
    recorded = bench.record(toolchain.rp2040_image(*defines), injected(channels), seconds=3.2)
    stream = packets.opened(recorded.wire)
    assert (stream.broken, stream.sequences) == (0, list(range(len(stream.sequences))))
    version, interval_ns, told, name = packets.identity(stream.of(packets.IDENTITY)[0])
    assert (version, interval_ns, name, len(told)) == (1, int(SCAN_S * 1e9), "bench-1", channels)
    assert [channel[0] for channel in told] == ["V", "A"] * (channels // 2)
    firsts, counts = zip(*stream.scans(channels), strict=True)
    assert np.all(np.diff(firsts) == len(counts[0]))
    assert (firsts[-1] + len(counts[-1])) / recorded.report.seconds == pytest.approx(1 / SCAN_S, rel=0.01)
    assert 1 / SCAN_S > 2000
    values = (np.concatenate(counts) - [channel[3] for channel in told]) * [channel[2] for channel in told]
    window = values[: round(3 / SCAN_S)]
    rms = np.sqrt(np.mean(window**2, axis=0))
    limits = np.where(np.arange(channels) % 2, AMPS_LIMIT, VOLTS_LIMIT)
    assert np.all(np.abs(rms - RMS[:channels]) < limits), rms
    # The skews that it tells are true: volts and amps moved together by them give the angle that was injected.
    at_s = np.arange(len(window))[:, None] * SCAN_S + np.array([channel[1] for channel in told]) * 1e-6
    for channel in range(0, channels, 2):
        hertz = 50 if channel == 2 else 60
        phasor = [np.sum(window[:, k] * np.exp(-2j * np.pi * hertz * at_s[:, k])) for k in (channel, channel + 1)]
        lag = math.degrees(np.angle(phasor[1] / phasor[0]))
        assert lag == pytest.approx({0: -40, 2: -60, 4: 0, 6: -30}[channel], abs=0.2)
    assert [(supply, dropped, bits) for _, supply, dropped, bits in stream.healths()] == [(0, 0, 1)] * 4
    assert np.diff([uptime for uptime, *_ in stream.healths()]) == pytest.approx(1000, abs=10)


def test_a_converter_that_stands_still_is_restarted_by_the_watchdog_which_is_told():
    recorded = bench.record(toolchain.rp2040_image(), WAVES, seconds=1, commands=["0.5 hang"])
    stream = packets.opened(recorded.wire)
    assert stream.broken == 1, "the packet that the restart cut"
    assert [bits for *_, bits in stream.healths()] == [1, 8]
    firsts = [first for first, _ in stream.scans(4)]
    assert firsts.count(0) == 2
    assert (max(firsts) + firsts[-1]) * SCAN_S == pytest.approx(0.5 + recorded.report.seconds - 0.54, abs=0.04)


def test_a_port_too_slow_costs_whole_packets_and_every_lost_scan_is_counted():
    """115200 baud carries 11.5 of the 41 kB a second."""
    recorded = bench.record(toolchain.rp2040_image("SWITCHED=1", "BOARD_BAUD=115200UL"), WAVES, seconds=4.2)
    stream = packets.opened(recorded.wire)
    assert (stream.broken, stream.sequences) == (0, list(range(len(stream.sequences))))
    losses = list(stream.losses())
    assert len(losses) >= 3
    assert all(before <= told <= after for before, told, after in losses)
    assert losses[-1][1] > 5000


def test_the_image_is_one_that_the_boot_rom_starts_and_its_file_one_that_the_drive_takes():
    image = toolchain.rp2040_image().read_bytes()
    # RP2040 data sheet, boot sequence: the sum of 252 bytes; the catalogue of CRC algorithms calls it CRC-32/MPEG-2.
    assert struct.unpack_from("<I", image, 252)[0] == crc32.mpeg_2(image[:252])
    blocks = toolchain.script(toolchain.RP2040_BOARD / "make_image.py").uf2(image)
    heads = [struct.unpack_from("<8I", blocks, at) for at in range(0, len(blocks), 512)]
    assert [(head[3], head[5], head[6]) for head in heads] == [
        (0x10000000 + 256 * at, at, len(heads)) for at in range(len(heads))
    ]
    assert b"".join(blocks[at + 32 : at + 32 + 256] for at in range(0, len(blocks), 512)).startswith(image)
