"""The offline output: field names and forms are fixed, later tools rely on them."""

import json
import subprocess
import sys

import numpy as np
import pyarrow.parquet
import pytest

from monitor.cli.main import main
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.streams import packed_stream, sine_counts

SUMMARY_DISTRICT = {
    "volts_mean",
    "volts_min",
    "amps_mean",
    "amps_max",
    "va_max",
    "watts_mean",
    "energy_wh",
    "lost_s",
    "volts_clipped",
    "amps_clipped",
}
SUMMARY_SUPPLY = {"va_mean", "va_max", "share_of_rating_max"}
FIELDS = {
    "event": {"district", "cause", "fault", "start_s", "end_s", "confidence", "evidence"},
    "warning": {"rule", "priority", "start_s", "end_s", "trip_in_s", "message"},
    "pattern": {"verdict", "districts", "events", "lap_s", "lap_fraction", "p_value"},
    "phasing": {"supplies", "verdict", "difference_volts", "degrees"},
    "sensor": {"board", "channel", "finding", "start_s", "end_s", "count"},
    "summary": {"duration_s", "districts", "supplies"},
}


@pytest.fixture
def capture(tmp_path):
    layout = FERNHOLLOW.split("[calibration")[0].replace("far_volts_channel = 4\n", "")
    (tmp_path / "show.toml").write_text(layout)
    (tmp_path / "show.wire").write_bytes(packed_stream(sine_counts(5.0)))
    return tmp_path


def sift(capsys, *arguments):
    code = main(["sift", *map(str, arguments)])
    return code, capsys.readouterr()


def test_json_lines_have_the_promised_fields(capture, capsys):
    code, out = sift(capsys, capture / "show.wire", "--layout", capture / "show.toml", "--json")
    lines = [json.loads(line) for line in out.out.splitlines()]
    assert (code, out.err) == (0, "")
    for line in lines:
        assert FIELDS[line["kind"]] <= set(line)
    assert lines[-1]["kind"] == "summary"
    starts = [line["start_s"] for line in lines[:-1]]
    assert starts == sorted(starts)
    outer = lines[-1]["districts"]["Outer main"]
    assert set(outer) == SUMMARY_DISTRICT
    assert set(lines[-1]["supplies"]["North bench"]) == SUMMARY_SUPPLY
    # S = U I and its energy over 5 s, by hand: 15 V x 3 A = 45 VA; 45 W x 5 s / 3600 = 0.0625 Wh.
    assert outer["va_max"] == pytest.approx(45, abs=1.5)
    assert outer["energy_wh"] == pytest.approx(0.0625, rel=0.05)
    assert lines[-1]["supplies"]["North bench"]["share_of_rating_max"] == pytest.approx(45 / 180, abs=0.01)


def test_a_table_for_a_person(capture, capsys):
    code, out = sift(capsys, capture / "show.wire", "--layout", capture / "show.toml")
    assert code == 0
    assert "Outer main" in out.out
    assert "of plate" in out.out


def test_readings_are_written_with_units_and_meanings(capture, capsys):
    path = capture / "out.parquet"
    code, out = sift(capsys, capture / "show.wire", "--layout", capture / "show.toml", "--readings", path, "--json")
    assert (code, out.err) == (0, "")
    table = pyarrow.parquet.read_table(path)
    columns = "time_s district window volts_rms amps_rms watts hertz u95_volts u95_amps u95_watts good volts_clipped amps_clipped"
    assert table.schema.names == columns.split()
    units = [field.metadata[b"unit"].decode() for field in table.schema]
    assert units == ["s", "", "", "V", "A", "W", "Hz", "V", "A", "W", "", "", ""]
    assert all(field.metadata[b"meaning"] for field in table.schema)
    frame = table.to_pandas()
    outer = frame[frame["district"] == "Outer main"]
    steady = outer[outer["window"] == "200ms"]
    # 15 V x 3 A in phase, as the streams are made; 12 cycles of 60 Hz last 0.2 s.
    assert steady["volts_rms"].to_numpy() == pytest.approx(15, abs=0.1)
    assert np.diff(steady["time_s"])[1:] == pytest.approx(0.2, abs=1e-3)
    assert (steady["u95_watts"] > 0).all()
    cycles = outer[outer["window"] == "cycle"]
    assert np.diff(cycles["time_s"]) == pytest.approx(1 / 120, abs=1e-4)
    # Parts as bought: 2 % of scale outweighs the noise of one cycle's 20 samples.
    assert cycles["u95_volts"].to_numpy() == pytest.approx(float(steady["u95_volts"].median()), rel=0.05)
    assert set(frame["window"]) == {"cycle", "200ms"}


def test_readings_of_lines_and_a_file_that_cannot_be(capture, capsys):
    lines = "b,bench-1,4,100\n" + "".join(f"r,{k * 100},{out},12.5,2.0,25.0\n" for k in range(50) for out in range(4))
    (capture / "lines.wire").write_text(lines)
    arguments = (capture / "lines.wire", "--layout", capture / "show.toml", "--readings")
    assert sift(capsys, *arguments, capture / "out.parquet")[0] == 0
    frame = pyarrow.parquet.read_table(capture / "out.parquet").to_pandas()
    assert set(frame["window"]) == {"line"}
    assert frame["good"].all()
    assert frame["u95_volts"].isna().all()
    code, out = sift(capsys, *arguments, capture / "nowhere" / "out.parquet")
    assert code == 2
    assert "cannot be written" in out.err


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda folder: (folder / "none.wire", folder / "show.toml"), "none.wire cannot be read"),
        (lambda folder: (folder / "show.wire", folder / "none.toml"), "no such file"),
        (lambda folder: (folder / "noise.wire", folder / "show.toml"), "bytes is understood"),
        (lambda folder: (folder / "empty.wire", folder / "show.toml"), "empty"),
        (lambda folder: (folder / "show.wire", folder / "stranger.toml"), "layout does not have"),
        (lambda folder: (folder / "show.wire", folder / "wide.toml"), "channel 9"),
    ],
)
def test_what_cannot_be_used_is_one_plain_line_and_exit_2(capture, make, words):
    (capture / "noise.wire").write_bytes(bytes(range(1, 256)) * 40)
    (capture / "empty.wire").write_bytes(b"")
    good = (capture / "show.toml").read_text()
    (capture / "stranger.toml").write_text(good.replace("number = 0", "number = 3").replace("bench-1", "bench-3"))
    (capture / "wide.toml").write_text(good.replace("volts_channel = 2", "volts_channel = 9"))
    path, layout = make(capture)
    done = subprocess.run(
        [sys.executable, "-m", "monitor", "sift", path, "--layout", layout, "--json"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert any(word in done.stderr for word in words.split("|"))


def test_a_light_command_imports_no_page_and_no_tables(capture):
    code = (
        "import sys; from monitor.cli.main import main; "
        f"main(['sift', {str(capture / 'show.wire')!r}, '--layout', {str(capture / 'show.toml')!r}]); "
        "heavy = {'dash', 'pandas', 'plotly', 'pyarrow', 'flask', 'scipy', 'serial'} & set(sys.modules); "
        "sys.exit(f'{heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
