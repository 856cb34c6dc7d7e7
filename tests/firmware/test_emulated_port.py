"""The emulated board as a serial port: what the whole-program tests stand on."""

import time

import numpy as np
import pytest
import serial

from tests.firmware import packets
from tests.firmware.bench import amps_wave, volts_wave

pytestmark = pytest.mark.avr


def listen(port, seconds):
    data = bytearray()
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        data += port.read(4096)
    return bytes(data)


def whole(data):
    """From the first delimiter on: a port is opened somewhere in the middle of a packet."""
    return packets.opened(data[data.index(b"\0") :])


def test_it_runs_in_real_time_and_takes_new_voltages(emulated_board):
    board = emulated_board({0: volts_wave(16.0), 1: amps_wave(1.0)})
    with serial.Serial(board.pty, 500_000, timeout=0.05) as port:
        before = whole(listen(port, 1.5))
        board.set(1, amps_wave(4.0))
        after = whole(listen(port, 1.5))
        assert (before.broken, after.broken) == (0, 0)
        scans = sum(len(counts) for _, counts in before.scans())
        assert scans == pytest.approx(1800, rel=0.1)
        quiet = np.concatenate([counts for _, counts in before.scans()])[-720:, 1]
        heavy = np.concatenate([counts for _, counts in after.scans()])[-720:, 1]
        assert np.std(heavy) / np.std(quiet) == pytest.approx(4.0, rel=0.05)
        board.reset(8)
        restarted = whole(listen(port, 0.6))
        assert 0 in [first for first, _ in restarted.scans()]
        assert restarted.healths()[-1][3] == 8
        report = board.stop()
        assert report.overruns == 0
        with pytest.raises(serial.SerialException):
            listen(port, 1.0)


def test_a_late_listener_gets_fresh_bytes_only(emulated_board):
    board = emulated_board()
    time.sleep(1.2)
    with serial.Serial(board.pty, 500_000, timeout=0.05) as port:
        first = whole(listen(port, 0.3)).scans()[0][0]
    assert first > 1200
