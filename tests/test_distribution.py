"""What is handed out: a wheel and an archive of the sources, and what an installation without extras says of what it lacks."""

import importlib
import subprocess
import sys
import tarfile
import zipfile
from email import message_from_bytes
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from monitor.cli.main import main

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def archives(tmp_path_factory):
    """Folder with both, built from this clone without a look at the network."""
    folder = tmp_path_factory.mktemp("archives")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, ROOT]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return folder


def test_archives_pass_the_check_of_the_package_index(archives):
    command = [sys.executable, "-m", "twine", "check", "--strict", *sorted(map(str, archives.iterdir()))]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.count("PASSED")) == (0, 2), done.stdout


def test_licence_and_notes_are_in_both(archives):
    (wheel,) = archives.glob("*.whl")
    (sources,) = archives.glob("*.tar.gz")
    notes = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "firmware_notes").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    with zipfile.ZipFile(wheel) as inside:
        names = inside.namelist()
    with tarfile.open(sources) as inside:
        source_names = inside.getnames()
    for found in (names, source_names):
        assert any(name.endswith("LICENSE") for name in found)
        missing = {note for note in notes if not any(name.endswith(note) for name in found)}
        assert missing == set()


def test_a_plain_installation_leaves_out_what_asking_alone_needs(archives):
    (wheel,) = archives.glob("*.whl")
    with zipfile.ZipFile(wheel) as inside:
        metadata = message_from_bytes(inside.read(next(name for name in inside.namelist() if name.endswith("METADATA"))))
    asked = [Requirement(line) for line in metadata.get_all("Requires-Dist")]
    plain = {
        each.name for each in asked if each.marker is None or each.marker.evaluate({"extra": "", "platform_machine": "x86_64"})
    }
    small = {
        each.name for each in asked if each.marker is None or each.marker.evaluate({"extra": "", "platform_machine": "armv7l"})
    }
    assert not {"duckdb", "pandas"} & plain
    assert plain - small == {"highspy"}


def test_what_is_missing_is_named_with_its_remedy(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "duckdb", None)
    for name in ("monitor.cli.ask", "monitor.bus.answers"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    assert main(["ask", "kept", "closest"]) == 2
    assert (
        "needs the package duckdb, which is not installed here: install it with pip install 'pilotlamp[ask]'"
        in capsys.readouterr().err
    )
    monkeypatch.undo()
    importlib.import_module("monitor.cli.ask")
