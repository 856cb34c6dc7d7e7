import os

import msgspec
import pytest

from monitor.errors import LayoutError
from monitor.layout import ChannelCalibration, parse_layout
from monitor.layout.edit import add_bench_record, set_calibration, set_keys, set_load_draw, set_supply_findings, write_text
from tests.layout.fernhollow import FERNHOLLOW

COMMENTED = "# our own remark\n" + FERNHOLLOW.replace("rated_va = 180", "rated_va = 180 # plate under the case")

REMARKED = FERNHOLLOW.replace('name = "Outer main"', 'name = "Outer main"     # the big oval').replace(
    "[mains]", "# as measured at the wall\n[mains]"
)


def test_a_check_is_written_and_comments_stay():
    text = set_supply_findings(COMMENTED, "South bench", {"cord": "sound", "breaker_present": True, "checked_on": "2026-11-01"})
    condition = parse_layout(text).supply[1].condition
    assert condition is not None
    assert (condition.cord, condition.breaker_present, condition.checked_on) == ("sound", True, "2026-11-01")
    assert "# our own remark" in text
    assert "# plate under the case" in text
    assert parse_layout(text).supply[0].condition == parse_layout(COMMENTED).supply[0].condition


def test_an_earlier_check_is_changed_in_place():
    text = set_supply_findings(COMMENTED, "North bench", {"cord": "stiff"})
    condition = parse_layout(text).supply[0].condition
    assert condition is not None
    assert (condition.cord, condition.made_year) == ("stiff", 1998)


def test_a_test_is_kept_beside_a_check_on_one_line():
    head, _, rest = FERNHOLLOW.partition("[supply.condition]")
    body, _, rest = rest.partition("[[supply]]")
    inline = ", ".join(line for line in body.strip().splitlines() if "=" in line)
    text = head.replace("max_volts = 18", f"max_volts = 18\ncondition = {{ {inline} }}") + f"[[supply]]{rest}"
    before = parse_layout(text).supply[0].condition
    assert before == parse_layout(FERNHOLLOW).supply[0].condition
    record = {"what": "insulation-test", "on": "2026-11-02", "by": "the club's tester", "megohms": 5.0}
    after = parse_layout(add_bench_record(text, "North bench", record)).supply[0].condition
    assert msgspec.structs.replace(after, record=()) == before
    assert [(each.on, each.megohms) for each in after.record] == [("2026-11-02", 5.0)]


def test_a_measured_draw_replaces_a_guess():
    measured = {"running_amps": 2.8149, "measured_on": "2026-11-25", "measured_spread_amps": [2.7012, 2.9]}
    text = set_load_draw(COMMENTED, "Heavy freight engine", measured)
    load = parse_layout(text).load[0]
    assert (load.running_amps, load.starting_amps, load.measured_on) == (2.81, 4.5, "2026-11-25")
    assert load.measured_spread_amps == (2.7, 2.9)
    assert "# our own remark" in text


def test_names_that_are_not_there():
    with pytest.raises(LayoutError, match='supply "West bench"'):
        set_supply_findings(COMMENTED, "West bench", {})
    with pytest.raises(LayoutError, match="no such load"):
        set_load_draw('title = "x"\n[mains]\nvolts=120\nhertz=60\n', "x", {"running_amps": 1.0})


def lines_changed(before, after):
    kept = before.splitlines()
    return [line for line in after.splitlines() if line not in kept]


def test_a_correction_is_added_and_nothing_else_moves():
    after = set_calibration(REMARKED, "bench-1", 3, ChannelCalibration(gain=0.992, zero=1.5))
    assert parse_layout(after).channel_calibration("bench-1", 3).gain == 0.992
    assert parse_layout(after).channel_calibration("bench-1", 0).zero == -0.3
    assert sorted(lines_changed(REMARKED, after)) == ['[calibration."bench-1".3]', "gain = 0.992", "zero = 1.5"]
    assert all(line in after.splitlines() for line in REMARKED.splitlines())


def test_a_correction_in_a_file_without_any():
    bare = REMARKED.split("[calibration")[0]
    after = set_calibration(bare, "bench-1", 0, ChannelCalibration(gain=1.01, zero=-2.0))
    assert parse_layout(after).channel_calibration("bench-1", 0).gain == 1.01
    assert after.startswith(bare.rstrip())


def test_a_correction_is_replaced():
    after = set_calibration(REMARKED, "bench-1", 0, ChannelCalibration(gain=1.2, zero=0.0))
    assert parse_layout(after).channel_calibration("bench-1", 0).gain == 1.2
    assert after.count("[calibration") == REMARKED.count("[calibration")


def test_keys_of_one_table_change_and_comments_stay():
    after = set_keys(REMARKED, "district", "Outer main", {"lap_s": 19.5, "far_volts_channel": 5})
    assert parse_layout(after).district[0].lap_s == 19.5
    assert "# the big oval" in after
    assert "# as measured at the wall" in after
    assert sorted(lines_changed(REMARKED, after)) == ["far_volts_channel = 5", "lap_s = 19.5"]


@pytest.mark.parametrize("table", ["district", "siding"])
def test_a_table_that_is_not_there_is_said(table):
    with pytest.raises(LayoutError, match=f'{table} "Goods yard".*no such {table}'):
        set_keys(REMARKED, table, "Goods yard", {"lap_s": 1.0})


def test_no_device_and_no_folder_is_replaced_by_a_file(tmp_path):
    pipe, loop, folder = tmp_path / "pipe", tmp_path / "loop", tmp_path / "folder"
    os.mkfifo(pipe)
    loop.symlink_to(loop)
    folder.mkdir()
    for path in (pipe, loop, folder, pipe / "below", tmp_path / ("x" * 300)):
        with pytest.raises(LayoutError, match="cannot be written"):
            write_text(path, "text")
    assert (pipe.is_fifo(), loop.is_symlink(), folder.is_dir(), len(list(tmp_path.iterdir()))) == (True, True, True, 3)
