import logging
import shutil
import socket
import tempfile
import threading

import pytest

from monitor.cli import log_file
from monitor.cli.log_file import OLD_FILES_KEPT, logging_to
from monitor.cli.service import tell_service_manager
from monitor.errors import LogError
from tests.cli.test_watch import ended
from tests.link.plugs import until


def test_a_full_log_makes_room_by_itself_and_nothing_grows_beyond_measure(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(log_file, "FILE_LIMIT_BYTES", 2000)
    path = tmp_path / "logs" / "watch.log"
    with logging_to(path):
        for number in range(1000):
            logging.getLogger("room").info("line number %d", number)
    kept = sorted(path.parent.iterdir())
    assert len(kept) == 1 + OLD_FILES_KEPT
    assert all(file.stat().st_size <= 2000 for file in kept)
    assert "line number 999" in path.read_text()
    assert capsys.readouterr().err == ""
    logging.getLogger("room").warning("after the end")
    assert "after the end" not in path.read_text()


def test_a_full_disk_does_not_end_the_watch_or_fill_the_terminal(capsys, tmp_path):
    with logging_to(tmp_path / "watch.log"):
        (handler,) = [each for each in logging.getLogger().handlers if isinstance(each, log_file._QuietFile)]
        handler.stream.close()
        handler.stream = open("/dev/full", "w")  # noqa: PTH123, SIM115 - the device that is always full
        logging.getLogger("room").info("nowhere to go")
        handler.stream = None
    assert capsys.readouterr().err == ""


def test_a_log_that_cannot_be_is_one_sentence(tmp_path):
    (tmp_path / "file").write_text("")
    code, _, err = ended("demo", "--headless", "--no-record", "--log", tmp_path / "file" / "x.log", cwd=tmp_path)
    assert code == 2
    assert len(err.splitlines()) == 1
    assert "--log" in err
    with pytest.raises(LogError), logging_to(tmp_path):
        pass


@pytest.fixture
def service_manager(monkeypatch):
    """The other end of sd_notify(3)."""
    # Paths of such sockets are 107 characters at most, which a test's own folder may pass.
    folder = tempfile.mkdtemp()
    line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    line.bind(f"{folder}/notify")
    monkeypatch.setenv("NOTIFY_SOCKET", f"{folder}/notify")
    heard = []

    def listen():
        while not heard or heard[-1] != b"enough":
            heard.append(line.recv(100))

    # The system keeps ten messages for whoever does not listen.
    listener = threading.Thread(target=listen)
    listener.start()
    yield heard
    tell_service_manager("enough")
    listener.join(60)
    line.close()
    shutil.rmtree(folder)


def test_what_the_terminal_says_is_in_the_log_and_the_service_manager_hears_of_it(tmp_path, service_manager):
    code, out, err = ended("demo", "--headless", "--no-record", "--seconds", 3, "--log", tmp_path / "watch.log", cwd=tmp_path)
    assert (code, err) == (0, "")
    logged = (tmp_path / "watch.log").read_text()
    said = next(line for line in out.splitlines() if "port: " in line)
    assert said in logged
    until(lambda: b"STOPPING=1" in service_manager)
    assert service_manager[0] == b"READY=1"
    assert b"WATCHDOG=1" in service_manager


def test_without_a_service_manager_nothing_happens(monkeypatch):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    tell_service_manager("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", "@no-such-socket")
    tell_service_manager("READY=1")
