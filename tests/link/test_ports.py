import os
import stat
from types import SimpleNamespace

import pytest

from monitor.link.ports import access_remedy, find_ports


def test_ports_are_listed_sorted_with_what_they_say(monkeypatch):
    listed = [
        SimpleNamespace(device="/dev/ttyUSB1", description="USB serial", hwid="USB VID:PID=0000:0001"),
        SimpleNamespace(device="/dev/ttyUSB0", description="n/a", hwid="n/a"),
    ]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: listed)
    first, second = find_ports()
    assert (first.device, first.description, first.remedy) == ("/dev/ttyUSB0", "nothing known about it", None)
    assert second.description == "USB serial, USB VID:PID=0000:0001"


@pytest.mark.parametrize(
    ("mode", "gid", "words"),
    [
        (stat.S_IRGRP | stat.S_IWGRP, 20, "join the group crew (sudo usermod -aG crew $USER), then log out and in again"),
        (stat.S_IRGRP, 20, "ask the owner of this computer"),
        (stat.S_IRGRP | stat.S_IWGRP, 0, "ask the owner of this computer"),
    ],
)
def test_rights_that_are_missing_come_with_a_remedy(monkeypatch, tmp_path, mode, gid, words):
    device = tmp_path / "ttyUSB0"
    device.touch()
    monkeypatch.setattr(os, "access", lambda *_args: False)
    monkeypatch.setattr("grp.getgrgid", lambda _gid: SimpleNamespace(gr_name="crew"))
    monkeypatch.setattr("monitor.link.ports._owner", lambda _path: (mode, gid))
    assert words in access_remedy(str(device))


def test_what_may_be_opened_or_is_not_there_needs_no_remedy(tmp_path):
    device = tmp_path / "ttyUSB0"
    assert access_remedy(str(device)) is None
    device.touch()
    assert access_remedy(str(device)) is None
