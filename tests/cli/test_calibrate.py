"""``pilotlamp calibrate`` at a pty with a line board that is off by a known zero and gain; the meter shows the truth."""

import pytest

from monitor.cli.main import main
from monitor.layout import load_layout
from monitor.metering.line_rows import LineRows
from monitor.values import LineReadings
from monitor.wire import LineDecoder
from tests.cli.test_listen import sending
from tests.layout.fernhollow import FERNHOLLOW
from tests.link.plugs import Plug

VOLTS, AMPS = 15.0, 3.0
ZERO_VOLTS, ZERO_AMPS, HIGH = 0.3, 0.24, 1.04
"""What the board prints at nothing, and how many times too much above that."""


class Bench:
    """The district, as its throttle stands, and the person who answers."""

    def __init__(self):
        self.volts = self.amps = 0.0

    def line(self, k):
        volts, amps = ZERO_VOLTS + HIGH * self.volts, ZERO_AMPS + HIGH * self.amps
        return f"r,{50 * k},0,{volts:.2f},{amps:.2f}\n".encode()

    def answer(self, prompt):
        if "Is nothing flowing?" in prompt:
            self.volts = self.amps = 0.0
            return "yes"
        if "Write this" in prompt:
            return "yes"
        if self.volts:
            self.volts = self.amps = 0.0
            return ""
        self.volts, self.amps = VOLTS, AMPS
        return str(VOLTS) if "in V" in prompt else str(AMPS)


@pytest.fixture
def plug(tmp_path):
    made = Plug(tmp_path / "usb")
    yield made
    made.pull_out()


def test_a_line_board_reads_right_after_calibration(plug, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("monitor.setup.port_tap.TAKEN_S", 0.5)
    path = tmp_path / "show.toml"
    text = FERNHOLLOW.split("[calibration")[0].replace("far_volts_channel = 4\n", "").replace("/dev/ttyUSB0", plug.device)
    path.write_text(text)
    bench = Bench()
    monkeypatch.setattr("builtins.input", bench.answer)
    with sending(plug, bench.line, every_s=0.02):
        assert main(["calibrate", str(path), "--channel", "0", "--channel", "1"]) == 0
    layout = load_layout(path)
    volts, amps = (layout.channel_calibration("bench-1", k) for k in (0, 1))
    assert (volts.zero, amps.zero) == (pytest.approx(ZERO_VOLTS, abs=0.011), pytest.approx(ZERO_AMPS, abs=0.011))
    assert (volts.gain, amps.gain) == (pytest.approx(1 / HIGH, rel=0.005), pytest.approx(1 / HIGH, rel=0.005))
    bench.volts, bench.amps = VOLTS, AMPS
    (readings,) = [item for item in LineDecoder().feed(bench.line(1) + bench.line(2)) if isinstance(item, LineReadings)]
    (block,) = LineRows(layout, "bench-1").feed(readings, readings.times_ms / 1000).readings
    assert block.volts_rms[0, 0] == pytest.approx(VOLTS, abs=0.05)
    assert block.amps_rms[0, 0] == pytest.approx(AMPS, abs=0.02)
    assert "a count is a hundredth of a volt or an amp here" in capsys.readouterr().out


def test_an_output_that_never_comes_is_named(plug, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("monitor.setup.port_tap.TAKEN_S", 0.2)
    monkeypatch.setattr("monitor.cli.calibrate.PATIENCE_S", 0.5)
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW.replace("/dev/ttyUSB0", plug.device))
    bench = Bench()
    monkeypatch.setattr("builtins.input", bench.answer)
    with sending(plug, bench.line, every_s=0.02):
        assert main(["calibrate", str(path), "--channel", "2"]) == 2
    assert "nothing usable came from output 1 of board" in capsys.readouterr().err
