"""The emulated board as a serial port: what the whole-program tests stand on."""

import time

import numpy as np
import pytest
import serial

from tests.firmware import packets
from tests.firmware.bench import amps_wave, volts_wave

pytestmark = pytest.mark.avr


LIMIT_S = 120.0


def heard(port, scans=1, until=lambda _packets: True):
    """What comes until there are so many scans and the condition holds; from the first delimiter on, as ports are opened amid packets."""
    data, ends_s = bytearray(), time.monotonic() + LIMIT_S
    while time.monotonic() < ends_s:
        data += port.read(4096)
        whole = packets.opened(data[data.index(b"\0") :]) if b"\0" in data else None
        if whole and sum(len(counts) for _, counts in whole.scans()) >= scans and until(whole):
            return whole
    raise AssertionError("The board did not send enough.")


def test_it_runs_no_faster_than_real_time_and_takes_new_voltages(emulated_board):
    board = emulated_board({0: volts_wave(16.0), 1: amps_wave(1.0)})
    with serial.Serial(board.pty, 500_000, timeout=0.05) as port:
        began_s = time.monotonic()
        before = heard(port, scans=1500)
        board.set(1, amps_wave(4.0))
        after = heard(port, scans=1500)
        took_s = time.monotonic() - began_s
        assert (before.broken, after.broken) == (0, 0)
        scans = sum(len(counts) for packets in (before, after) for _, counts in packets.scans())
        assert scans / 1201.9 < took_s * 1.1  # a slow computer may be behind
        quiet = np.concatenate([counts for _, counts in before.scans()])[-720:, 1]
        heavy = np.concatenate([counts for _, counts in after.scans()])[-720:, 1]
        assert np.std(heavy) / np.std(quiet) == pytest.approx(4.0, rel=0.05)
        board.reset(8)
        heard(
            port,
            until=lambda packets: 0 in [first for first, _ in packets.scans()] and any(row[3] == 8 for row in packets.healths()),
        )
        report = board.stop()
        assert report.overruns == 0
        with pytest.raises(serial.SerialException):
            heard(port, scans=10**9)


def test_a_late_listener_gets_fresh_bytes_only(emulated_board):
    board = emulated_board()
    time.sleep(1.2)
    with serial.Serial(board.pty, 500_000, timeout=0.05) as port:
        first = heard(port).scans()[0][0]
    assert first > 300  # 1200 where the computer keeps pace
