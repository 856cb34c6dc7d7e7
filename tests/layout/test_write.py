import stat

import pytest

from monitor.errors import LayoutError
from monitor.layout import load_layout, parse_layout
from monitor.layout.write import with_calibration, with_keys, write_layout
from tests.layout.fernhollow import FERNHOLLOW

COMMENTED = FERNHOLLOW.replace('name = "Outer main"', 'name = "Outer main"     # the big oval').replace(
    "[mains]", "# as measured at the wall\n[mains]"
)


def lines_changed(before, after):
    kept = before.splitlines()
    return [line for line in after.splitlines() if line not in kept]


def test_a_correction_is_added_and_nothing_else_moves():
    after = with_calibration(COMMENTED, "bench-1", 3, gain=0.992, zero_counts=1.5)
    assert parse_layout(after).channel_calibration("bench-1", 3).gain == 0.992
    assert parse_layout(after).channel_calibration("bench-1", 0).zero == -0.3
    assert sorted(lines_changed(COMMENTED, after)) == ['[calibration."bench-1".3]', "gain = 0.992", "zero = 1.5"]
    assert all(line in after.splitlines() for line in COMMENTED.splitlines())


def test_a_correction_in_a_file_without_any():
    bare = COMMENTED.split("[calibration")[0]
    after = with_calibration(bare, "bench-1", 0, gain=1.01, zero_counts=-2.0)
    assert parse_layout(after).channel_calibration("bench-1", 0).gain == 1.01
    assert after.startswith(bare.rstrip())


def test_a_correction_is_replaced():
    after = with_calibration(COMMENTED, "bench-1", 0, gain=1.2, zero_counts=0.0)
    assert parse_layout(after).channel_calibration("bench-1", 0).gain == 1.2
    assert after.count("[calibration") == COMMENTED.count("[calibration")


def test_keys_of_one_table_change_and_comments_stay():
    after = with_keys(COMMENTED, "district", "Outer main", {"lap_s": 19.5, "far_volts_channel": 5})
    assert parse_layout(after).district[0].lap_s == 19.5
    assert "# the big oval" in after
    assert "# as measured at the wall" in after
    assert sorted(lines_changed(COMMENTED, after)) == ["far_volts_channel = 5", "lap_s = 19.5"]


@pytest.mark.parametrize("table", ["district", "siding"])
def test_a_table_that_is_not_there_is_said(table):
    with pytest.raises(LayoutError, match=f'table {table} "Goods yard": there is no such table'):
        with_keys(COMMENTED, table, "Goods yard", {"lap_s": 1.0})


def test_a_file_is_replaced_whole_and_keeps_its_rights(tmp_path):
    path = tmp_path / "layout.toml"
    path.write_text(COMMENTED)
    path.chmod(0o640)
    write_layout(path, with_calibration(COMMENTED, "bench-1", 2, gain=1.5, zero_counts=0.0))
    assert load_layout(path).channel_calibration("bench-1", 2).gain == 1.5
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [entry.name for entry in tmp_path.iterdir()] == ["layout.toml"]


def test_what_is_no_layout_replaces_nothing(tmp_path):
    path = tmp_path / "layout.toml"
    path.write_text(COMMENTED)
    with pytest.raises(LayoutError):
        write_layout(path, COMMENTED.replace("rated_va = 180", "rated_va = -1"))
    assert path.read_text() == COMMENTED


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(LayoutError, match="cannot be written"):
        write_layout(tmp_path / "no" / "layout.toml", COMMENTED)
