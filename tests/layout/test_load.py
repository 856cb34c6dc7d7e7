import contextlib
import os
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.layout import load_layout, parse_layout
from monitor.layout.load import SIZE_LIMIT_BYTES
from tests.layout.fernhollow import FERNHOLLOW


def test_every_key_of_the_file_arrives():
    layout = parse_layout(FERNHOLLOW)
    north, south = layout.supply
    assert (layout.title, layout.mains.hertz, layout.board[0].baud) == ("Fernhollow show layout", 60, 500_000)
    assert north.protection is not None
    assert north.protection.points[1] == (2.0, 40)
    assert north.condition is not None
    assert (north.condition.cord, north.condition.earthed, north.condition.made_year) == ("sound", False, 1998)
    assert (north.plate_va, south.plate_va, south.rating_is) == (180, 75, "output")
    outer = layout.district[0]
    assert (outer.output_name, outer.far_volts_channel, outer.lap_s) == ("North bench/A", 4, 21.0)
    assert outer.feeder is not None
    assert (outer.feeder.awg, outer.feeder.one_way_m) == (16, 7.5)
    assert layout.load[0].starting_amps == 4.5
    assert layout.channel_calibration("bench-1", 0).gain == 1.004
    assert layout.channel_calibration("bench-1", 1).gain == 1.0


# What is changed, and what the message must name: the table, the key, the remedy.
MISTAKES = [
    ("rated_va = 180", "rated_va = -1", ['supply "North bench"', "rated_va", "correct it"]),
    ("rated_va = 180", "rated_vaa = 180", ['supply "North bench"', "rated_vaa", "did you mean"]),
    ("rated_va = 180", "rated_va = 180\nrated_watts = 3", ['supply "North bench"', "rated_va", "exactly one"]),
    ("rated_watts = 75", "", ['supply "South bench"', "exactly one"]),
    ("hertz = 60\n", "", ["mains", "hertz", "missing"]),
    ('kind = "thermal"', 'kind = "magic"', ["North bench", "protection.kind", "magic"]),
    ("rated_amps = 10\n", "", ["North bench", "protection.rated_amps", "add rated_amps"]),
    ("[2.0, 40]", "[1.2, 40]", ["North bench", "protection.points", "order"]),
    ("[2.0, 40]", '[2.0, "x"]', ["North bench", "protection.points"]),
    ('supply = "North bench"\nname = "A"', 'supply = "Nort bench"\nname = "A"', ["Nort bench/A", "did you mean", "North bench"]),
    ('output = "A"', 'output = "C"', ['district "Outer main"', "output", "points nowhere"]),
    ('board = "bench-1"\nvolts_channel = 2', 'board = "bench-2"\nvolts_channel = 2', ['"Town lights"', "board", "bench-1"]),
    ("volts_channel = 2", "volts_channel = 0", ['district "Town lights"', "volts_channel", "already used", "Outer main"]),
    ("far_volts_channel = 4", "far_volts_channel = 3", ["channel 3", "already used"]),
    ("volts_channel = 2", "volts_channel = -2", ['district "Town lights"', "volts_channel"]),
    ('district = "Outer main"', 'district = "Outer mine"', ['load "Heavy freight engine"', "district", "Outer main"]),
    ("awg = 16", "awg = 16, mm2 = 1.5", ["feeder", "exactly one"]),
    ('calibration."bench-1"', 'calibration."bench-9"', ["bench-9", "points nowhere"]),
    ("bench-1\".0]", "bench-1\".zero]", ["calibration", "zero", "number"]),
    ("gain = 1.004", "gain = 0", ["calibration", "gain"]),
    ('name = "Town lights"', 'name = "Outer main"', ['district "Outer main"', "name", "two tables"]),
    ("[mains]", "[mains", ["TOML", "line 3"]),
    ("volts = 120", "volts = nan", ["mains", "volts"]),
    ("input_volts = [110, 120]", "input_volts = [120, 110]", ["input_volts", "rising"]),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), MISTAKES, ids=[new or f"without {old}" for old, new, _ in MISTAKES])
def test_mistakes_name_file_table_key_and_remedy(old, new, words):
    assert old in FERNHOLLOW
    with pytest.raises(LayoutError) as caught:
        parse_layout(FERNHOLLOW.replace(old, new, 1), source="show.toml")
    message = str(caught.value)
    assert message.startswith("show.toml")
    assert "\n" not in message.split("(at", maxsplit=1)[0]
    for word in words:
        assert word in message


def test_two_boards_on_one_port_need_two_numbers():
    second = '[[board]]\nname = "bench-2"\nport = "/dev/ttyUSB0"\n'
    with pytest.raises(LayoutError, match="same port and number"):
        parse_layout(FERNHOLLOW.replace("[[supply]]", second + "\n[[supply]]", 1))


LINES = """
[board.lines]
form = "values"
decimal = ","
time_ms = 1
interval_ms = 200

[[board.lines.output]]
volts = 2
amps = 3
volts_scale = 0.001
amps_zero = 512.0
"""


def with_lines(old="", new=""):
    return FERNHOLLOW.replace("baud = 500000\n", "baud = 500000\n" + LINES.replace(old, new, 1), 1)


def test_lines_of_a_boards_own_arrive():
    lines = parse_layout(with_lines()).board[0].lines
    assert (lines.form, lines.decimal, lines.time_ms, lines.interval_ms) == ("values", ",", 1, 200)
    (output,) = lines.output
    assert (output.volts, output.volts_scale, output.amps_zero, output.amps_scale) == (2, 0.001, 512.0, 1.0)
    assert lines.places == (("time_ms", 1), ("output 0 volts", 2), ("output 0 amps", 3))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('form = "values"', 'form = "csv"', ["lines.form", "csv"]),
        ("volts = 2", 'volts = "V"', ["lines.output.0.volts", "counted from 1"]),
        ('form = "values"', 'form = "pairs"', ["lines.time_ms", "in quotes"]),
        ("amps = 3", "amps = 2", ["lines.output.0.amps", "one place, one figure"]),
        ("volts = 2", "volts = 0", ["lines.output", "volts"]),
        ("volts_scale = 0.001", "volts_scale = 0", ["lines.output.0.volts_scale", "every figure 0"]),
        ("interval_ms = 200", "interval_ms = 0", ["interval_ms"]),
        ("amps = 3", "amp = 3", ["amp", "did you mean"]),
        (
            "[[board.lines.output]]\nvolts = 2\namps = 3\nvolts_scale = 0.001\namps_zero = 512.0\n",
            "",
            ["board", "output", "missing"],
        ),
    ],
)
def test_mistakes_in_lines_are_named(old, new, words):
    assert old in LINES
    with pytest.raises(LayoutError) as caught:
        parse_layout(with_lines(old, new))
    for word in words:
        assert word in str(caught.value)


def test_a_pipe_without_end_is_read_no_further_than_a_layout_can_be(tmp_path):
    path = tmp_path / "pipe.toml"
    os.mkfifo(path)

    def write():
        with contextlib.suppress(BrokenPipeError), path.open("w") as file:
            for _ in range(3):
                file.write("#" * SIZE_LIMIT_BYTES)

    writing = threading.Thread(target=write)
    writing.start()
    with pytest.raises(LayoutError, match="larger than a layout can be"):
        load_layout(path)
    writing.join(60)
    assert not writing.is_alive()


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(LayoutError, match="no such file"):
        load_layout(tmp_path / "none.toml")
    with pytest.raises(LayoutError, match="cannot be read"):
        load_layout(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'title = "\xe9t\xe9"')
    with pytest.raises(LayoutError, match="UTF-8"):
        load_layout(tmp_path / "latin.toml")
    (tmp_path / "huge.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(LayoutError, match="right file"):
        load_layout(tmp_path / "huge.toml")


@given(st.text(max_size=300))
def test_any_text_loads_or_says_why(text):
    try:
        parse_layout(text)
    except LayoutError as error:
        assert str(error)


@given(st.integers(0, len(FERNHOLLOW) - 1), st.integers(1, 30), st.text(max_size=8))
def test_any_edit_loads_or_says_why(start, length, text):
    try:
        parse_layout(FERNHOLLOW[:start] + text + FERNHOLLOW[start + length :])
    except LayoutError as error:
        assert str(error)
