"""Captures of the emulated boards through ``pilotlamp sift``: decode and metering, judged by what was injected."""

import json
import subprocess
import sys

import pytest

from tests.firmware import bench, fernhollow, toolchain

pytestmark = pytest.mark.avr
VOLTS_LIMIT = 0.01 * bench.FULL_SCALE_VOLTS_RMS
AMPS_LIMIT = 0.01 * bench.FULL_SCALE_AMPS_RMS


@pytest.fixture(scope="module", params=["packed", "lines"])
def sifted(request, tmp_path_factory):
    """The objects that sift prints for ten seconds of a board."""
    folder = tmp_path_factory.mktemp("sifted")
    elf = toolchain.packed_elf() if request.param == "packed" else toolchain.sketch_elf(toolchain.LINE_BOARD)
    (folder / "board.wire").write_bytes(bench.record(elf, fernhollow.WAVES, seconds=10).wire)
    (folder / "layout.toml").write_text(fernhollow.layout(), encoding="utf-8")
    command = [sys.executable, "-m", "monitor", "sift", folder / "board.wire", "--layout", folder / "layout.toml", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=toolchain.NOTES.parent)
    assert (done.returncode, done.stderr) == (0, "")
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_sift_reads_what_was_injected(sifted):
    summary = sifted[-1]
    assert summary["duration_s"] == pytest.approx(10, abs=0.2)
    for name, volts_rms, amps_rms in zip(fernhollow.DISTRICTS, fernhollow.VOLTS_RMS, fernhollow.AMPS_RMS, strict=True):
        district = summary["districts"][name]
        assert district["volts_mean"] == pytest.approx(volts_rms, abs=VOLTS_LIMIT)
        assert district["amps_mean"] == pytest.approx(amps_rms, abs=AMPS_LIMIT)
        assert district["lost_s"] == 0


def test_sift_reads_the_watts_that_were_injected(sifted):
    """Real power needs volts and amps of one moment: the board converts them 81 microseconds apart (1.7 degrees at 60 Hz)."""
    for at, name in enumerate(fernhollow.DISTRICTS):
        volt_amperes = fernhollow.VOLTS_RMS[at] * fernhollow.AMPS_RMS[at]
        # An edge that falls between the two conversions is lost to one of them: a chopped wave's watts are less certain.
        limit = 0.01 if fernhollow.WAVES[2 * at].cut_degrees == 0 else 0.04
        assert sifted[-1]["districts"][name]["watts_mean"] == pytest.approx(fernhollow.WATTS[at], abs=limit * volt_amperes)


def test_sift_finds_nothing_wrong_with_the_board(sifted):
    assert [found for found in sifted if found["kind"] == "sensor"] == []
