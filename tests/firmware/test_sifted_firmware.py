"""Captures of the emulated boards through ``pilotlamp sift``: decode and metering, judged by what was injected."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from tests.firmware import bench, fernhollow, toolchain

pytestmark = pytest.mark.avr
VOLTS_LIMIT = 0.01 * bench.FULL_SCALE_VOLTS_RMS
AMPS_LIMIT = 0.01 * bench.FULL_SCALE_AMPS_RMS


def sift(folder, wire, layout):
    """The objects that sift prints."""
    (folder / "board.wire").write_bytes(wire)
    (folder / "layout.toml").write_text(layout, encoding="utf-8")
    command = [sys.executable, "-m", "monitor", "sift", folder / "board.wire", "--layout", folder / "layout.toml", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=toolchain.NOTES.parent)
    assert (done.returncode, done.stderr) == (0, "")
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module", params=["packed", "lines"])
def sifted(request, tmp_path_factory):
    """The objects that sift prints for ten seconds of a board."""
    folder = tmp_path_factory.mktemp("sifted")
    elf = toolchain.packed_elf() if request.param == "packed" else toolchain.sketch_elf(toolchain.LINE_BOARD)
    return sift(folder, bench.record(elf, fernhollow.WAVES, seconds=10).wire, fernhollow.layout())


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


@pytest.mark.parametrize("sensors", ["fixed", "ratiometric"])
def test_a_supply_that_is_not_what_it_was_at_calibration_is_corrected(sensors, tmp_path):
    """4.75 V in place of 5 V: without correction 5.3 % too many volts and, with a fixed sensor, amps."""
    supply_mv, share = 4750, 0.95
    waves = {
        pin: replace(
            wave,
            offset_mv=wave.offset_mv * share,
            amplitude_mv=wave.amplitude_mv * (share if pin % 2 and sensors == "ratiometric" else 1),
        )
        for pin, wave in fernhollow.WAVES.items()
    }
    kept = "".join(f'[calibration."bench-1".{channel}]\nsupply_volts = 5.0\n' for channel in range(8))
    declared = f'name = "bench-1"\ncurrent_sensors = "{sensors}"\n'
    layout = fernhollow.layout().replace('name = "bench-1"\n', declared, 1) + kept
    wire = bench.record(toolchain.packed_elf(), waves, seconds=7, supply_mv=supply_mv).wire
    summary = sift(tmp_path, wire, layout)[-1]
    for name, volts_rms, amps_rms in zip(fernhollow.DISTRICTS, fernhollow.VOLTS_RMS, fernhollow.AMPS_RMS, strict=True):
        # One count of the reference in 237 is what the supply is known to.
        assert summary["districts"][name]["volts_mean"] == pytest.approx(volts_rms, rel=0.006, abs=0.05)
        assert summary["districts"][name]["amps_mean"] == pytest.approx(amps_rms, rel=0.006, abs=0.03)
