"""The whole program on real firmware: ``pilotlamp watch`` reads an emulated board in real time, through a pseudo-terminal."""

import json
import lzma
import signal
import subprocess
import sys
import time

import pandas as pd
import pytest

from tests.firmware import bench, fernhollow, toolchain

pytestmark = pytest.mark.avr
BROWN_OUT_BIT = 4
"""BORF, bit 2 of MCUSR (ATmega328P data sheet, MCU status register)."""
VOLTS_LIMIT = 0.01 * bench.FULL_SCALE_VOLTS_RMS
AMPS_LIMIT = 0.01 * bench.FULL_SCALE_AMPS_RMS


def until_said(process, words):
    """Read what a watch prints until it says this."""
    for line in process.stdout:
        if words in line:
            return
    raise AssertionError(f"it ended without saying {words!r}: {process.stderr.read()}")


def ended(process):
    """The last line of a headless watch that is told to end, once it ended well."""
    process.send_signal(signal.SIGINT)
    printed, complaints = process.stdout.read(), process.stderr.read()
    assert (process.wait(timeout=120), complaints) == (0, "")
    return json.loads(printed.splitlines()[-1])


def assert_injected(summary):
    for name, volts_rms, amps_rms in zip(fernhollow.DISTRICTS, fernhollow.VOLTS_RMS, fernhollow.AMPS_RMS, strict=True):
        district = summary["districts"][name]
        assert district["volts_mean"] == pytest.approx(volts_rms, abs=VOLTS_LIMIT)
        assert district["amps_mean"] == pytest.approx(amps_rms, abs=AMPS_LIMIT)


def assert_raw_bytes_are_a_capture(session, summary):
    """The raw bytes, unpacked as any program does, can be sifted again."""
    capture = session.parent / "kept.wire"
    capture.write_bytes(b"".join(lzma.decompress(part.read_bytes()) for part in sorted((session / "raw").iterdir())))
    command = [sys.executable, "-m", "monitor", "sift", capture, "--layout", session / "layout.toml", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=toolchain.NOTES.parent)
    again = json.loads(done.stdout.splitlines()[-1])
    assert again["duration_s"] == pytest.approx(summary["duration_s"], abs=0.6)
    assert_injected(again)


def assert_readings_are_kept(session):
    """The readings, as any program reads Parquet."""
    kept = pd.concat(pd.read_parquet(part) for part in sorted((session / "readings").iterdir()))
    assert kept["at_s"].max() - kept["at_s"].min() > 2.5
    means = kept.groupby("district", observed=True)[["volts_rms", "amps_rms"]].mean()
    for name, volts_rms, amps_rms in zip(fernhollow.DISTRICTS, fernhollow.VOLTS_RMS, fernhollow.AMPS_RMS, strict=True):
        assert means.loc[name, "volts_rms"] == pytest.approx(volts_rms, abs=VOLTS_LIMIT)
        assert means.loc[name, "amps_rms"] == pytest.approx(amps_rms, abs=AMPS_LIMIT)


BOARDS = {
    "packed": (toolchain.packed_elf, fernhollow.WAVES),
    "lines": (lambda: toolchain.sketch_elf(toolchain.LINE_BOARD), fernhollow.WAVES),
    "rp2040": (lambda: toolchain.rp2040_image("SWITCHED=1"), bench.at_3v3(fernhollow.WAVES)),
}


@pytest.mark.parametrize("kind", BOARDS)
def test_it_reads_and_records_what_was_injected(emulated_board, watch, kind, tmp_path):
    build, waves = BOARDS[kind]
    board = emulated_board(waves, elf=build())
    process = watch(board.pty, "--headless")
    until_said(process, "Reading board")
    time.sleep(4)
    summary = ended(process)
    assert summary["boards"] == ["bench-1"]
    assert (summary["findings"], summary["warnings"]) == ({}, {})
    # The first packet or line is cut, and the first identity may be a second away.
    assert summary["duration_s"] > 3
    # On a busy machine the emulator itself falls behind at times.
    assert all(district["lost_s"] < summary["duration_s"] / 2 for district in summary["districts"].values())
    assert_injected(summary)
    (session,) = (tmp_path / "recordings").iterdir()
    assert_raw_bytes_are_a_capture(session, summary)
    assert_readings_are_kept(session)


def test_it_goes_on_when_the_board_is_unplugged_and_plugged_in_again(emulated_board, watch, tmp_path):
    link = tmp_path / "board"
    board = emulated_board(fernhollow.WAVES, link=link)
    process = watch(link, "--headless")
    until_said(process, "Reading board")
    time.sleep(2)
    board.stop()
    until_said(process, "plug it in again")
    time.sleep(1)
    emulated_board(fernhollow.WAVES, link=link)
    until_said(process, "Reading board")
    time.sleep(2)
    summary = ended(process)
    assert summary["ports"][0]["state"] == "reading"
    assert summary["scans"] > 1200
    assert all(district["lost_s"] > 0.8 for district in summary["districts"].values())
    assert_injected(summary)


def test_a_board_that_browns_out_again_and_again_is_told_and_read_on(emulated_board, watch):
    board = emulated_board(fernhollow.WAVES)
    process = watch(board.pty, "--headless")
    until_said(process, "Reading board")
    for _ in range(4):
        time.sleep(1)
        board.reset(BROWN_OUT_BIT)
    until_said(process, "brown out on board")
    time.sleep(2)
    summary = ended(process)
    assert summary["ports"][0]["state"] == "reading"
    assert "restart" in summary["findings"]
    assert_injected(summary)
