"""Packed sessions: whole and true, or refused. The tricks are those that archive readers are known for (CWE-22, CWE-409)."""

import io
import stat
import zipfile
import zlib

import pytest

from monitor.cli.main import main
from monitor.errors import SessionError
from monitor.sessions import find_sessions
from monitor.sessions.durable import write_whole
from monitor.sessions.pack import pack, unpack
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import record


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("recordings")
    record(recordings, packed_stream(sine_counts(2.0)), 2.0)
    return next(find_sessions(recordings))


def test_a_session_comes_back_as_it_was(session, tmp_path, capsys):
    assert main(["pack", str(session.path), str(tmp_path)]) == 0
    (bundle,) = tmp_path.glob("*.session.zip")
    assert main(["unpack", str(bundle), "--recordings", str(tmp_path / "there")]) == 0
    there = tmp_path / "there" / session.name
    for path in session.path.rglob("*"):
        if path.is_file():
            assert (there / path.relative_to(session.path)).read_bytes() == path.read_bytes()
    assert main(["unpack", str(bundle), "--recordings", str(tmp_path / "there")]) == 2
    assert "there already" in capsys.readouterr().err


def bundle_with(session, path, extra):
    pack(session, path)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as bundle:
        for name, data in extra:
            bundle.writestr(name, data)
    return path


def link(name):
    entry = zipfile.ZipInfo(name)
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    return entry


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("../out.json", b"{}"),
        ("{name}/../../out.json", b"{}"),
        ("/etc/out.json", b"{}"),
        ("{name}/raw/..\\..\\out.xz", b"x"),
        ("C:/out.json", b"{}"),
        ("{name}/raw/a:b.xz", b"x"),
        ("{name}/raw/.hidden.xz", b"x"),
        ("{name}/raw/\x1b[2J.xz", b"x"),
        ("{name}/program.py", b"import os"),
        ("{name}/readings/deeper/a.parquet", b"x"),
        ("other/manifest.json", b"{}"),
        (link("{name}/events.jsonl"), b"/etc/passwd"),
        ("{name}/raw/port-1-0099.wire", bytes(12_000_000)),
    ],
    ids=[
        "up",
        "up-within",
        "root",
        "backslash",
        "drive",
        "stream",
        "hidden",
        "escape",
        "program",
        "deeper",
        "other-folder",
        "link",
        "bomb",
    ],
)
def test_tricks_and_bombs_are_refused_and_leave_nothing(session, tmp_path, name, data):
    if isinstance(name, zipfile.ZipInfo):
        name.filename = name.filename.replace("{name}", session.name)
    else:
        name = name.replace("{name}", session.name)
    bundle = bundle_with(session, tmp_path / "bad.session.zip", [(name, data)])
    # By its list of names, before anything is unpacked: what lies outside by then, no check of contents takes back.
    with pytest.raises(SessionError, match=r"is refused|should hold one folder"):
        unpack(bundle, tmp_path / "in" / "recordings")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [bundle]


def test_changed_or_cut_files_are_refused(session, tmp_path):
    bundle = pack(session, tmp_path / "a.session.zip")
    data = bundle.read_bytes()
    raw = next(session.raw.iterdir()).read_bytes()
    other = io.BytesIO()
    with zipfile.ZipFile(other, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("é/manifest.json", "x" * 100)
        made.writestr("é/closing.json", "x" * 100)
    name, stream = other.getvalue().replace(b"\xc3\xa9", b"\xc3("), zlib.compress(b"x" * 100, wbits=-15)
    not_whole = {
        "half": data[: len(data) // 2],
        "changed": data.replace(raw, raw[:50] + bytes(50) + raw[100:]),
        "other": b"no zip at all",
        "a name that is not the UTF-8 that it is said to be": name,
        "a stream that no decompressor takes": other.getvalue().replace(stream, b"\xff" * len(stream)),
        "places before the beginning": other.getvalue().replace(stream, b""),
    }
    for kind, bad in not_whole.items():
        path = tmp_path / f"{kind}.zip"
        path.write_bytes(bad)
        with pytest.raises(SessionError, match=r"not whole|as it was written"):
            unpack(path, tmp_path / "in")
    assert not list((tmp_path / "in").glob("*"))


def test_where_a_packed_session_cannot_go_is_said_and_a_link_left_there_is_not_followed(session, tmp_path):
    victim = tmp_path / "victim"
    victim.write_bytes(b"precious")
    for target in (victim / "below", tmp_path / ("x" * 300), tmp_path / "no" / "folder", victim):
        with pytest.raises(SessionError, match=r"cannot be written|is there already"):
            pack(session, target)
    (tmp_path / "packed.tmp").symlink_to(victim)
    assert zipfile.is_zipfile(pack(session, tmp_path / "packed"))
    (tmp_path / "whole.tmp").symlink_to(victim)
    write_whole(tmp_path / "whole", b"ours")
    assert (victim.read_bytes(), (tmp_path / "whole").read_bytes()) == (b"precious", b"ours")
