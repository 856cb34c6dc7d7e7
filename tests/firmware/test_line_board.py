"""The beginner's sketch, built with the Arduino core, on an emulated ATmega328P."""

import functools
import operator
import re

import numpy as np
import pytest

from monitor.values import Identity, LineReadings
from monitor.wire import Fault, WireDecoder
from tests.firmware import bench, toolchain
from tests.firmware.bench import amps_wave, volts_wave

pytestmark = pytest.mark.avr
LINE_LIMIT = 120
VOLTS_PER_COUNT, AMPS_PER_COUNT = 0.0814, 0.0488
READING = re.compile(r"r,(\d+),([0-3]),(-?\d+\.\d+),(-?\d+\.\d+),(-?\d+\.\d+)\*([0-9A-F]{2})")
IDENTITY = re.compile(r"b,bench-1,4,125\*([0-9A-F]{2})")
WAVES = {
    0: volts_wave(18.0, noise_mv=2),
    1: amps_wave(6.5, phase_degrees=-30, noise_mv=2),
    2: volts_wave(14.0, hertz=50, noise_mv=2),
    3: amps_wave(2.0, hertz=50, phase_degrees=-60, noise_mv=2),
    4: volts_wave(0.0, dc_volts=12.0, noise_mv=2),
    5: amps_wave(0.0, dc_amps=1.5, noise_mv=2),
    6: volts_wave(16.0, phase_degrees=180, noise_mv=2),
    7: amps_wave(0.4, phase_degrees=180, noise_mv=2),
}
# Watts: V I cos(phase) for the sines, V I for direct current.
INJECTED = {0: (18.0, 6.5, 18 * 6.5 * 0.75**0.5), 1: (14.0, 2.0, 14 * 2 * 0.5), 2: (12.0, 1.5, 18.0), 3: (16.0, 0.4, 6.4)}


def checksum(text):
    return functools.reduce(operator.xor, text.encode("ascii"), 0)


def test_checksum_is_that_of_nmea_0183():
    # The GGA sentence that every description of NMEA 0183 prints: its checksum is 47.
    assert checksum("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,") == 0x47


@pytest.fixture(scope="module")
def run():
    return bench.record(toolchain.sketch_elf(toolchain.LINE_BOARD), WAVES, seconds=8)


@pytest.fixture(scope="module")
def lines(run):
    assert 0 not in run.wire
    return run.wire[: run.wire.rindex(b"\r\n")].decode("ascii").split("\r\n")


def test_every_line_is_of_the_form_and_its_checksum_right(lines):
    for line in lines:
        assert len(line) <= LINE_LIMIT
        if line.startswith("#"):
            continue
        match = READING.fullmatch(line) or IDENTITY.fullmatch(line)
        assert match, line
        assert int(match[match.lastindex], 16) == checksum(line.rpartition("*")[0])


def test_identity_once_a_second_and_each_output_every_eighth_of_one(lines):
    assert sum(line.startswith("b,") for line in lines) == 8
    for output in range(4):
        times_ms = [int(line.split(",")[1]) for line in lines if line.startswith("r,") and line.split(",")[2] == str(output)]
        assert len(times_ms) == pytest.approx(64, abs=1)
        assert np.diff(times_ms) == pytest.approx(125, abs=10)


def test_readings_are_what_was_injected(lines):
    for output, (volts_rms, amps_rms, watts) in INJECTED.items():
        found = [READING.fullmatch(line) for line in lines if re.match(rf"r,\d+,{output},", line)]
        values = np.array([[float(match[field]) for field in (3, 4, 5)] for match in found])
        volts_limit, amps_limit = 0.01 * bench.FULL_SCALE_VOLTS_RMS, 0.01 * bench.FULL_SCALE_AMPS_RMS
        assert np.all(np.abs(values[:, 0] - volts_rms) < volts_limit)
        assert np.all(np.abs(values[:, 1] - amps_rms) < amps_limit)
        # The emulated converter rounds down and spans 1023 steps (silicon: 1024): up to 1.5 counts of direct part in either.
        limit = 1.5 * (volts_rms * AMPS_PER_COUNT + amps_rms * VOLTS_PER_COUNT)
        assert np.mean(values[:, 2]) == pytest.approx(watts, abs=limit)


def test_the_monitor_understands_the_sketch(run):
    decoder = WireDecoder()
    items = decoder.feed(run.wire)
    assert decoder.form == "lines"
    assert not [item for item in items if isinstance(item, Fault)]
    board = next(item for item in items if isinstance(item, Identity))
    assert (board.name, len(board.channels), board.scan_interval_s) == ("bench-1", 8, 0.125)
    outputs = np.concatenate([item.outputs for item in items if isinstance(item, LineReadings)])
    assert set(outputs.tolist()) == {0, 1, 2, 3}


def test_it_stays_a_sketch_of_sixty_lines():
    assert len((toolchain.LINE_BOARD / "line_board.ino").read_text(encoding="utf-8").splitlines()) <= 60


def test_memory_is_fixed_and_enough_is_left(run):
    elf = toolchain.sketch_elf(toolchain.LINE_BOARD)
    assert not {"malloc", "free"} & set(toolchain.symbols(elf))
    assert run.report.untouched > 1000
    assert run.report.overruns == 0
