"""The unit for systemd: every path in it leads somewhere, and systemd's own checker, where there is one, takes it."""

import configparser
import getpass
import shutil
import subprocess
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.cli.test_watch import PLAIN


def unit_of(tmp_path, capsys, *options):
    layout = tmp_path / "show.toml"
    layout.write_text(PLAIN)
    assert main(["service", str(layout), *options]) == 0
    return capsys.readouterr().out


def test_every_field_is_filled_in_and_leads_somewhere(tmp_path, capsys):
    text = unit_of(tmp_path, capsys, "--share", "--tls")
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str
    unit.read_string(text)
    service = unit["Service"]
    assert "{" not in text
    program, *words = service["ExecStart"].split()
    assert Path(program).is_file()
    assert str(tmp_path / "show.toml") in words
    assert words[-2:] == ["--share", "--tls"]
    assert service["User"] == getpass.getuser()
    assert service["WorkingDirectory"] == str(tmp_path)
    assert (service["Type"], service["Restart"]) == ("notify", "on-failure")
    for hardening in ("NoNewPrivileges", "PrivateTmp", "ProtectKernelModules", "RestrictNamespaces", "MemoryDenyWriteExecute"):
        assert service[hardening] == "yes"


def test_systemd_itself_takes_the_unit_and_finds_it_well_hardened(tmp_path, capsys):
    path = tmp_path / "pilotlamp.service"
    path.write_text(unit_of(tmp_path, capsys))
    checker = shutil.which("systemd-analyze")
    if checker is None:  # not everywhere: the test above is what counts there
        return
    checked = subprocess.run([checker, "verify", str(path)], capture_output=True, text=True, check=False)
    assert "pilotlamp.service" not in checked.stderr, checked.stderr


@pytest.mark.parametrize("name", ["a show", "50%"])
def test_a_place_that_no_unit_can_name_is_one_sentence(tmp_path, capsys, name):
    folder = tmp_path / name
    folder.mkdir()
    (folder / "show.toml").write_text(PLAIN)
    assert main(["service", str(folder / "show.toml")]) == 2
    assert "move it" in capsys.readouterr().err
