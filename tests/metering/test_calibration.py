"""Calibration: the fit, its uncertainty, and the command as a person uses it."""

import io

import numpy as np
import pytest

from monitor.cli import calibrate
from monitor.cli.main import main
from monitor.errors import CalibrationError
from monitor.layout import load_layout
from monitor.metering.calibration import Observed, fit_calibration
from monitor.metering.uncertainty import decimals_supported
from monitor.values import Channel, Chunk
from tests.layout.fernhollow import FERNHOLLOW
from tests.metering.converter import counts_of, identity_of, sine
from tests.runtime.streams import packed_stream

CHANNEL = Channel(quantity="V", skew_s=0.0, units_per_count=0.07, zero_counts=512)


def observed(wave, true_gain=1.03, true_zero=3.4, seconds=2, seed=0):
    """What a channel shows whose scale is off by that gain and whose zero is off by so many counts."""
    times = np.arange(round(seconds / 832e-6)) * 832e-6
    noise = np.random.default_rng(seed).normal(0, 0.5, len(times))
    return Observed.of(np.round(512 + true_zero + wave(times) / (0.07 * true_gain) + noise).astype(np.int16))


def zero(t):
    return 0 * t


def test_fit_finds_gain_and_zero_of_ac_readings():
    fit = fit_calibration(CHANNEL, observed(zero), [(rms, observed(sine(rms), seed=rms)) for rms in (6, 12, 18)])
    assert fit.gain == pytest.approx(1.03, rel=0.002)
    assert fit.zero == pytest.approx(3.4, abs=0.1)
    assert max(abs(residual) for residual in fit.residuals) < 0.03
    assert 0.008 <= fit.gain_uncertainty < 0.012
    assert fit.zero_uncertainty_counts < 0.1


def test_fit_of_dc_readings_of_either_sign():
    fit = fit_calibration(CHANNEL, observed(zero), [(-12, observed(lambda t: 0 * t - 12)), (12, observed(lambda t: 0 * t + 12))])
    assert fit.gain == pytest.approx(1.03, rel=0.002)


@pytest.mark.parametrize(
    ("reading", "true", "words"),
    [
        (80, 8, "electronic transformer.*a digit too many"),
        (12, 1.7, "electronic transformer"),
        (0.8, 8, "a digit too few"),
        (18, 8, "such as 18 for 8"),
        (12 * np.sqrt(2), 12, "peak for the RMS"),
        (12 * 2 * np.sqrt(2), 12, "peak to peak"),
        (12_000, 12, "millivolts"),
        (14.4, 12, "right channel"),
    ],
)
def test_slips_are_refused_with_what_they_likely_are(reading, true, words):
    with pytest.raises(CalibrationError, match=words):
        fit_calibration(CHANNEL, observed(zero), [(reading, observed(sine(true)))])


def test_readings_that_do_not_agree_are_refused():
    good = [(rms, observed(sine(rms))) for rms in (6, 18)]
    assert fit_calibration(CHANNEL, observed(zero), good).gain_uncertainty < 0.012
    with pytest.raises(CalibrationError, match="check each for a slip"):
        fit_calibration(CHANNEL, observed(zero), [(12.7, observed(sine(12))), (10.9, observed(sine(12)))])


def test_what_moves_while_it_is_read_is_refused():
    with pytest.raises(CalibrationError, match="at zero this channel moved"):
        fit_calibration(CHANNEL, observed(lambda t: 0.15 * t), [])
    with pytest.raises(CalibrationError, match="stand still"):
        fit_calibration(CHANNEL, observed(zero), [(12, observed(lambda t: sine(12)(t) * (1 + 0.05 * t)))])


def test_zero_alone_leaves_the_gain():
    fit = fit_calibration(CHANNEL, observed(zero), [])
    assert fit.gain == 1
    assert np.isnan(fit.gain_uncertainty)


@pytest.mark.parametrize(
    ("at_zero", "known", "words"),
    [
        (observed(zero, true_zero=150), [], "nothing is connected"),
        (observed(sine(3)), [], "still moves"),
        (observed(zero), [(0.5, observed(sine(0.5)))], "at least 20 counts.*electronic transformer"),
    ],
)
def test_what_no_sensor_does_is_refused(at_zero, known, words):
    with pytest.raises(CalibrationError, match=words):
        fit_calibration(CHANNEL, at_zero, known)


@pytest.mark.parametrize(("uncertainty", "decimals"), [(3.0, 0), (0.3, 1), (0.03, 2), (0.096, 2), (0.0001, 3), (float("nan"), 0)])
def test_no_more_decimals_than_the_uncertainty_supports(uncertainty, decimals):
    # GUM 7.2.6: figures are given to the digit that the uncertainty reaches.
    assert decimals_supported(uncertainty) == decimals


class FakeBoard:
    """Sends what the bench would: at zero first, then a sine; each look takes the next of its waves."""

    waves = ()

    def __init__(self, port, baud, clock):
        self._clock = clock
        self._sent = 0

    def open(self):
        self._stream = None

    def close(self):
        """Nothing to give back."""

    def read(self):
        if self._stream is None:
            quiet = counts_of([zero] * 4, 0.2, identity=identity_of(4))
            self._stream = packed_stream(quiet)
            return Chunk(data=self._stream)
        return Chunk(data=self._next())

    def _next(self):
        wave = type(self).waves[min(self._sent // 2, len(type(self).waves) - 1)]
        counts = counts_of([lambda t: wave(t) / 1.05] * 4, 3, identity=identity_of(4))
        self._sent += 1
        return packed_stream(counts, with_head=False)


@pytest.fixture
def bench(monkeypatch):
    monkeypatch.setattr(calibrate, "SerialSource", FakeBoard)
    monkeypatch.setattr(calibrate, "LET_GO_S", 0.0)
    monkeypatch.setattr(FakeBoard, "waves", (sine(12),))

    def answer(*lines):
        monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))

    return answer


@pytest.fixture
def show(tmp_path):
    path = tmp_path / "show.toml"
    path.write_text("# ours\n" + FERNHOLLOW)
    return path


def test_the_command_walks_fits_and_writes_without_losing_comments(show, bench, monkeypatch, capsys):
    at_zero = Observed(mean_counts=513.0, spread_counts=0.5, samples=2400)
    loaded = Observed(mean_counts=513.0, spread_counts=163.0, samples=2400)
    looks = iter([at_zero, loaded])
    real = calibrate.CalibrationBench.look
    monkeypatch.setattr(calibrate.CalibrationBench, "look", lambda self, channel: real(self, channel) and next(looks))
    bench("yes", "11.9", "", "yes")
    assert main(["calibrate", str(show), "--channel", "2"]) == 0
    out = capsys.readouterr().out
    assert "true RMS" in out
    assert "Local codes" in out
    assert "volts of Town lights" in out
    made = load_layout(show).channel_calibration("bench-1", 2)
    assert made.zero == pytest.approx(1.0)
    assert made.gain == pytest.approx(11.9 / (163 * 0.0703125), rel=1e-3)
    # A meter of 0.8 % and two digits at 11.9 V; the board's health packet says what its supply is.
    assert made.gain_uncertainty == pytest.approx(np.hypot(0.008, 0.02 / 11.9), abs=1e-4)
    assert made.supply_volts == pytest.approx(4.98)
    assert load_layout(show).channel_calibration("bench-1", 0).gain == 1.004
    assert show.read_text().startswith("# ours")
    assert (show.parent / "show.toml.before").read_text() == "# ours\n" + FERNHOLLOW


def test_the_command_looks_at_a_boards_own_samples(show, bench, capsys):
    # The board shows a sine where nothing should be: nothing usable comes of it, and nothing is written.
    bench("yes", "", "yes")
    assert main(["calibrate", str(show), "--channel", "2"]) == 0
    out = capsys.readouterr().out
    assert "at zero: 512.0" in out
    assert "Steady reading" not in out
    assert "not usable: at zero this channel still moves" in out
    assert show.read_text() == "# ours\n" + FERNHOLLOW


def test_what_cannot_be_calibrated_is_said(show, bench, capsys):
    assert main(["calibrate", str(show), "--channel", "77"]) == 2
    assert "check --channel" in capsys.readouterr().err
    assert main(["calibrate", str(show), "--board", "bench-9"]) == 2
    assert "one of: bench-1" in capsys.readouterr().err
    show.write_text(FERNHOLLOW.replace('port = "/dev/ttyUSB0"\n', ""))
    assert main(["calibrate", str(show)]) == 2
    assert "needs the board's port" in capsys.readouterr().err
