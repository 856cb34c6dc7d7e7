"""``pilotlamp listen`` at ptys and a TCP socket, with boards that send all kinds of things."""

import contextlib
import socket
import threading
import time

import pytest

from monitor.cli.main import main
from monitor.layout import load_layout
from tests.layout.fernhollow import FERNHOLLOW
from tests.link.plugs import Plug, TalkingBoard


@contextlib.contextmanager
def sending(plug, make, every_s=0.05):
    stop = threading.Event()

    def send():
        k = 0
        while not stop.wait(every_s):
            plug.send(make(k))
            k += 1

    thread = threading.Thread(target=send, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(10)


@pytest.fixture
def plug(tmp_path):
    made = Plug(tmp_path / "usb")
    yield made
    made.pull_out()


def csv(k):
    return f"{50 * k},{14 + k % 3 / 10:.1f},{1.2 + k % 2 / 10:.2f}\r\n".encode()


def test_own_lines_are_shown_decoded_and_proposed_and_written(plug, tmp_path, capsys):
    layout = tmp_path / "show.toml"
    layout.write_text(FERNHOLLOW.replace("/dev/ttyUSB0", plug.device).replace("baud = 500000", "baud = 500000  # as it came"))
    with sending(plug, csv):
        code = main(["listen", plug.device, "--baud", "9600", "--seconds", "1.2", "--into", str(layout)])
    said = capsys.readouterr().out
    assert code == 0
    assert "Text: " in said
    assert "14.0,1.20" in said
    assert 'form = "values"\ntime_ms = 1' in said
    assert "output 0 (channels 0 and 1): 14." in said
    board = load_layout(layout).board[0]
    assert (board.baud, board.lines.form, board.lines.time_ms) == (9600, "values", 1)
    assert [(output.volts, output.amps) for output in board.lines.output] == [(2, 3)]
    assert "# as it came" in layout.read_text()
    assert "baud = 500000" in (tmp_path / "show.toml.before").read_text()


def test_the_projects_own_forms_are_named(plug, capsys):
    board = TalkingBoard(plug)
    assert main(["listen", plug.device, "--seconds", "1.5"]) == 0
    board.stop()
    said = capsys.readouterr().out
    assert 'Board "bench-1", number 0: 4 channels' in said
    assert "channel 0: 15.0" in said


def test_readings_of_the_line_form(plug, capsys):
    with sending(plug, lambda k: b"r,%d,%d,15.2,2.4\n" % (50 * k, k % 2)):
        assert main(["listen", plug.device, "--baud", "115200", "--seconds", "1"]) == 0
    said = capsys.readouterr().out
    assert "the line form" in said
    assert "output 1 (channels 2 and 3): 15.20 V, 2.40 A" in said


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (b"hello\n", "a reading begins with r"),
        (b"r, 100, 0, 15.2, 2.4\n", "no blanks"),
        (b"\x93\xff\x07\x81\xe0\xf3\x91", "another baud rate"),
    ],
)
def test_what_cannot_be_read_is_explained(plug, capsys, sent, words):
    with sending(plug, lambda _: sent):
        main(["listen", plug.device, "--baud", "115200", "--seconds", "0.8"])
    assert words in capsys.readouterr().out


def test_nothing_at_all_at_any_rate_says_so(plug, capsys, monkeypatch):
    monkeypatch.setattr("monitor.link.listen.LISTEN_S", 0.05)
    assert main(["listen", plug.device]) == 1
    assert "any of the usual baud rates" in capsys.readouterr().out


def test_a_board_on_the_network(capsys):
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve():
            connection, _ = server.accept()
            with connection, contextlib.suppress(OSError):
                for k in range(40):
                    connection.sendall(f"V={12 + k / 100:.2f} I=1.5\n".encode())
                    time.sleep(0.05)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        assert main(["listen", f"socket://127.0.0.1:{server.getsockname()[1]}", "--seconds", "1"]) == 0
        thread.join(10)
    assert 'volts = "V"' in capsys.readouterr().out


def test_the_board_has_to_be_known_before_anybody_listens(tmp_path, capsys):
    layout = tmp_path / "show.toml"
    second = '[[board]]\nname = "bench-2"\nport = "/dev/ttyUSB1"\n'
    layout.write_text(FERNHOLLOW.replace("[[supply]]", second + "\n[[supply]]", 1))
    assert main(["listen", "/dev/none", "--into", str(layout)]) == 2
    assert "--board NAME" in capsys.readouterr().err
    assert main(["listen", "/dev/none", "--baud", "9600"]) == 2
    assert "there is no port /dev/none" in capsys.readouterr().err
