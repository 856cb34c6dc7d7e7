import contextlib
import errno
import fcntl
import os
import socket
import stat

import pytest
import serial

from monitor.errors import LinkLostError, LinkUnavailableError
from monitor.link import HostClock, SerialSource
from tests.link.plugs import Plug, until


@pytest.fixture
def plug():
    made = Plug()
    yield made
    for end in (made.board_end, made._slave):
        with contextlib.suppress(OSError):
            os.close(end)


def read_until(source, wanted):
    got = b""

    def more():
        nonlocal got
        got += source.read().data
        return wanted in got

    until(more)
    return got


def test_a_pty_is_read_with_the_hosts_time(plug):
    clock = HostClock()
    source = SerialSource(plug.device, 500_000, clock)
    source.open()
    assert source.read().data == b""
    before_s = clock.now_s()
    plug.send(b"\x00\x01bytes")
    chunk = until(lambda: (chunk := source.read()).data and chunk)
    assert chunk.data == b"\x00\x01bytes"
    assert before_s <= chunk.received_s <= clock.now_s()
    source.close()
    assert source.read().data == b""


def test_reading_never_writes(plug):
    source = SerialSource(plug.device, 500_000, HostClock())
    source.open()
    plug.send(b"hello\n")
    read_until(source, b"hello\n")
    with pytest.raises(BlockingIOError):
        os.read(plug.board_end, 100)


def test_what_is_pulled_out_is_lost(plug):
    source = SerialSource(plug.device, 500_000, HostClock())
    source.open()
    plug.pull_out()
    with pytest.raises(LinkLostError, match=r"went away.*plug it in again") as caught:
        until(lambda: source.read() and False)
    assert caught.value.port == plug.device
    source.close()


def test_a_socket_is_read_and_its_end_is_a_loss():
    with socket.create_server(("127.0.0.1", 0)) as server:
        source = SerialSource(f"socket://127.0.0.1:{server.getsockname()[1]}", 500_000, HostClock())
        source.open()
        sender, _ = server.accept()
        with sender:
            sender.sendall(b"r,1,0,2,3\n")
            assert read_until(source, b"\n") == b"r,1,0,2,3\n"
        with pytest.raises(LinkLostError):
            until(lambda: source.read() and False)
        source.close()


@pytest.mark.parametrize(
    ("port", "words"),
    [
        ("/dev/no-such-port", r"there is no port /dev/no-such-port: plug the board in, or see 'pilotlamp ports'"),
        ("socket://127.0.0.1:1", "nothing answers at socket://127.0.0.1:1"),
        ("socket://nowhere", "write a device, hwgrep://PATTERN or socket://HOST:PORT"),
        ("hwgrep://no such board", "no port fits hwgrep://no such board"),
        ("wrong://thing", "write a device, hwgrep://PATTERN or socket://HOST:PORT"),
        ("/dev/null", "is this a serial port"),
    ],
)
def test_a_port_that_will_not_open_says_why_in_one_line(port, words):
    with pytest.raises(LinkUnavailableError, match=words) as caught:
        SerialSource(port, 500_000, HostClock()).open()
    assert "\n" not in str(caught.value)
    assert caught.value.port == port


def test_a_port_that_another_program_reads_is_busy(plug):
    with open(plug.device, "rb", buffering=0) as other:  # noqa: PTH123 - the descriptor is what matters
        fcntl.flock(other, fcntl.LOCK_EX)
        with pytest.raises(LinkUnavailableError, match="busy: another program has it open"):
            SerialSource(plug.device, 500_000, HostClock()).open()


def test_no_permission_names_the_group_to_join(plug, monkeypatch):
    # The refusal itself is the operating system's: it is given here as pyserial passes it on, since a test run as the
    # administrator is never refused.
    def refuse(*_args, **_kwargs):
        raise serial.SerialException(errno.EACCES, "could not open port")

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    monkeypatch.setattr(os, "access", lambda *_args: False)
    monkeypatch.setattr("grp.getgrgid", lambda _gid: type("Group", (), {"gr_name": "dialout"}))
    monkeypatch.setattr("monitor.link.ports._owner", lambda _path: (stat.S_IRGRP | stat.S_IWGRP, 20))
    with pytest.raises(LinkUnavailableError, match=r"no permission to open .*: join the group dialout .*log out and in again"):
        SerialSource(plug.device, 500_000, HostClock()).open()


def test_another_rate_drops_what_came_at_the_old_one(plug):
    source = SerialSource(plug.device, 500_000, HostClock())
    source.open()
    plug.send(b"old")
    source.set_baud(115_200)
    plug.send(b"new")
    assert read_until(source, b"new") == b"new"
    plug.pull_out()
    with pytest.raises(LinkLostError):
        until(lambda: source.set_baud(9600) or (source.read() and False))
    source.close()


class PortInPieces:
    """An open port that hands over no more than 4096 bytes at a time, then goes away."""

    def __init__(self, size):
        self._left = bytes(size)

    def read(self, size):
        if not self._left:
            raise serial.SerialException("device reports readiness to read but returned no data")
        piece, self._left = self._left[: min(size, 4096)], self._left[min(size, 4096) :]
        return piece


def test_all_that_waits_comes_in_one_read_and_is_kept_where_the_port_goes_away_behind_it():
    source = SerialSource("port", 500_000, HostClock())
    source._serial = PortInPieces(10_000)
    assert len(source.read().data) == 10_000
    with pytest.raises(LinkLostError):
        source.read()
