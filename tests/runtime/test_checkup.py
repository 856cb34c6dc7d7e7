from datetime import UTC, datetime

from monitor.cli.main import main
from monitor.layout import parse_layout
from monitor.runtime.checkup import browser_check, check_computer, clock_check, disk_speed_check, port_check
from tests.layout.fernhollow import FERNHOLLOW


def checks_of(folder, layout=None):
    return {check.name: check for check in check_computer(folder, layout)}


def test_a_good_folder_and_disk(tmp_path):
    found = checks_of(tmp_path / "recordings")
    assert found["recordings folder"].good
    assert found["disk speed"].found.startswith("What comes in one second is safe after")
    assert "hours of four districts" in found["disk"].found


def test_a_file_in_the_place_of_the_folder(tmp_path):
    (tmp_path / "recordings").write_text("")
    check = checks_of(tmp_path / "recordings")["recordings folder"]
    assert not check.good
    assert "--recordings" in check.remedy


def test_a_slow_disk_and_one_that_takes_nothing():
    assert disk_speed_check(0.02).good
    assert "--recordings" in disk_speed_check(3.0).remedy
    assert not disk_speed_check(None).good


def test_ports_of_boards(tmp_path):
    check = checks_of(tmp_path, layout=parse_layout(FERNHOLLOW.replace("/dev/ttyUSB0", "/dev/no-such-port")))[
        'port of board "bench-1"'
    ]
    assert (check.good, "is not there" in check.found) == (False, True)
    assert port_check("b", "socket://127.0.0.1:9").good
    assert "Add port" in port_check("b", None).remedy


def test_clock_and_browser():
    assert clock_check(datetime(2026, 6, 1, tzinfo=UTC)).good
    assert not clock_check(datetime(1970, 1, 1, tzinfo=UTC)).good
    later = clock_check(datetime(2026, 6, 1, tzinfo=UTC), newest=datetime(2026, 6, 2, tzinfo=UTC))
    assert (later.good, "newest recording" in later.found) == (False, True)
    assert browser_check(lambda name: "/usr/bin/firefox" if name == "firefox" else None).good
    assert "--share" in browser_check(lambda _name: None).remedy


def test_the_command_says_what_to_do(tmp_path, capsys):
    (tmp_path / "show.toml").write_text(FERNHOLLOW.replace("/dev/ttyUSB0", "/dev/no-such-port"))
    code = main(["doctor", str(tmp_path / "show.toml"), "--recordings", str(tmp_path), "--web-port", "0"])
    assert code == 1
    assert "LOOK" in capsys.readouterr().out
