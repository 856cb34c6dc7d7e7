import stat

import pytest

from monitor.errors import LayoutError
from monitor.layout import ChannelCalibration, load_layout
from monitor.layout.edit import change_layout, set_calibration, spare_path, write_layout
from tests.layout.fernhollow import FERNHOLLOW

COMMENTED = FERNHOLLOW.replace('name = "Outer main"', 'name = "Outer main"     # the big oval').replace(
    "[mains]", "# as measured at the wall\n[mains]"
)


def test_a_file_is_replaced_whole_and_keeps_its_rights(tmp_path):
    path = tmp_path / "layout.toml"
    path.write_text(COMMENTED)
    path.chmod(0o640)
    write_layout(path, set_calibration(COMMENTED, "bench-1", 2, ChannelCalibration(gain=1.5, zero=0.0)))
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


def test_a_change_keeps_the_file_as_it_was_beside_it(tmp_path):
    path = tmp_path / "layout.toml"
    path.write_text(COMMENTED)
    change_layout(path, lambda text: text.replace("hertz = 60", "hertz = 50"))
    assert load_layout(path).mains.hertz == 50
    assert spare_path(path).read_text() == COMMENTED
    with pytest.raises(LayoutError):
        change_layout(path, lambda text: text.replace("hertz = 50", "hertz = -1"))
    assert load_layout(path).mains.hertz == 50
    assert spare_path(path).read_text() == COMMENTED


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(LayoutError, match="there is no such file"):
        change_layout(tmp_path / "none.toml", lambda text: text)
