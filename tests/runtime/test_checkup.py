from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.errors import LinkUnavailableError
from monitor.layout import parse_layout
from monitor.link.listen import PortListener
from monitor.runtime.checkup import browser_check, check_computer, clock_check, disk_speed_check
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.fake_source import FakeSource
from tests.runtime.streams import packed_stream, plain_layout, sine_counts
from tests.wire.bytestreams import counts, identity, identity_packet, samples_packet

PORT = 'port of board "bench-1"'


def checks_of(folder, layout=None, listen_at=None):
    return {check.name: check for check in check_computer(folder, layout, listen_at)}


def port_of(layout, *, sent=(), reads=80):
    """The check of a board's port where a source sends this, a fiftieth of a second apart."""

    def listen_at(board):
        source = FakeSource([*sent, *[b""] * reads][:reads])
        return PortListener(source, source.now_s, board.baud, layout.line_board(board.port)).capture(3.0)

    return next(check for check in check_computer(Path("nowhere"), layout, listen_at) if check.name == PORT)


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


def test_no_folder_is_left_behind(tmp_path):
    found = checks_of(tmp_path / "deep" / "recordings")
    assert found["recordings folder"].found.endswith("is made when it is needed.")
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_is_not_there_or_not_named(tmp_path):
    layout = parse_layout(FERNHOLLOW.replace("/dev/ttyUSB0", "/dev/no-such-port"))

    def listen_at(board):
        raise LinkUnavailableError(f"there is no port {board.port}: plug the board in", port=board.port)

    check = checks_of(tmp_path, layout, listen_at)[PORT]
    assert (check.good, check.found, check.remedy) == (False, "There is no port /dev/no-such-port.", "Plug the board in.")
    layout = parse_layout(FERNHOLLOW.replace('port = "/dev/ttyUSB0"\n', ""))
    assert "Add port" in checks_of(tmp_path, layout, listen_at)[PORT].remedy


def test_a_packed_board_is_heard_with_its_rate_and_its_noise():
    stream = packed_stream(sine_counts(1.0, volts_rms=(15.0, 0.0), amps_rms=(3.0, 0.0)))
    check = port_of(plain_layout(), sent=[stream])
    assert check.good
    assert "the packed form, 4 channels, 40" in check.found
    assert "at rest the noisiest of 2 channels moves by 0.0 counts" in check.found


def test_channels_that_the_board_lacks_are_named():
    check = port_of(plain_layout(), sent=[b"\0" + identity_packet(identity(channels=2))])
    assert not check.good
    assert "channel 2, channel 3, which never came" in check.remedy
    lines = [b"".join(b"r,%d,1,15.2,2.4\nr,%d,2,15.2,2.4\n" % (k, k) for k in range(20))]
    check = port_of(plain_layout(), sent=lines)
    assert (check.good, "channel 0, channel 1, which never came" in check.remedy) == (False, True)


def test_lines_are_heard_with_their_damage():
    lines = [b"b,bench-1,2,100\n" + b"".join(b"r,%d,0,15.2,2.4\nr,%d,1,15.2,2.4\nr,x\n" % (k, k) for k in range(20))]
    check = port_of(plain_layout(), sent=lines)
    assert check.good
    assert "lines, outputs 0, 1, 13." in check.found
    assert "20 damaged, the last one: not a line of the form." in check.found


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ([], "nothing came in 3 s"),
        ([b"12.3,1.5\n"] * 40, "The last one is: 12.3,1.5"),
        ([b"\0" + samples_packet(0, counts(15, 4))] * 9, "no identity packet"),
        ([b"\0" + identity_packet(identity(channels=4, number=9, name="visitor"))], "calls itself 'visitor'"),
        ([b"\x93\xff\x07\x81"] * 40, "another baud rate"),
    ],
)
def test_what_is_not_understood_is_told(sent, words):
    check = port_of(plain_layout(), sent=sent)
    assert not check.good
    assert words in check.found
    assert check.remedy


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
