"""The program where a system has no pseudo-terminals, locks, groups and passwd (Windows): those modules blocked for our own code alone."""

import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.rehearsal import RehearsalBoard, board_port, fernhollow_show

BLOCKED = """
import builtins, os, sys
real = builtins.__import__
def block(name, globals=None, *rest, **more):
    importer = (globals or {}).get("__name__", "")
    if name in ("fcntl", "termios", "tty", "pty", "grp", "pwd", "resource") and importer.startswith(("monitor", "dashboard")):
        raise ImportError(name)
    return real(name, globals, *rest, **more)
builtins.__import__ = block
for name in ("openpty", "nice", "getuid", "geteuid"):
    delattr(os, name)
def kill(*_):
    raise AssertionError("signal 0 is CTRL_C_EVENT on Windows: it would interrupt whom it asks")
os.kill = kill
"""
EVERY_MODULE = """
import importlib, pkgutil, monitor, dashboard
names = [found.name for each in (monitor, dashboard) for found in pkgutil.walk_packages(each.__path__, each.__name__ + ".")]
for name in names:
    if not name.endswith("__main__"):
        importlib.import_module(name)
print(len(names))
"""
COMMANDS = """
from monitor.cli.main import main
for line in ("demo --headless --seconds 2 --recordings kept", "doctor", "rehearse clean --seed 1 --out made"):
    assert main(line.split()) == 0, line
"""


def test_every_module_imports_and_the_rehearsal_runs(tmp_path):
    """One process for all, since what takes time is its start."""
    environment = os.environ | {"PYTHONPATH": str(Path.cwd())}
    command = [sys.executable, "-c", BLOCKED + EVERY_MODULE + COMMANDS]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, env=environment, check=False, timeout=200)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout.split()[0]) > 300
    assert json.loads(next(line for line in done.stdout.splitlines() if line.startswith("{")))["boards"] == ["bench-1"]
    assert list((tmp_path / "made").iterdir())


def test_the_board_is_read_through_a_socket_and_can_be_unplugged(monkeypatch):
    monkeypatch.setattr(board_port, "HAS_TERMINALS", False)
    with RehearsalBoard(fernhollow_show(), speed=4) as board:
        assert board.port.startswith("socket://127.0.0.1:")
        address = board.port
        assert taken(address, 40_000).count(b"\0") > 100
        board.unplug()
        with pytest.raises(ConnectionRefusedError):
            taken(address, 1)
        board.plug_in()
        assert taken(address, 40_000).count(b"\0") > 100
    assert board.failure is None


def taken(address, size):
    host, port = address.removeprefix("socket://").split(":")
    data = b""
    with socket.create_connection((host, int(port)), timeout=20) as reader:
        while len(data) < size:
            data += reader.recv(65536)
    return data
