"""Files that only grow, against a limit that the operating system sets."""

import resource

import pytest

from monitor.sessions.durable import AppendedFile


def test_what_did_not_fit_is_cut_off_again(tmp_path):
    """Behind RLIMIT_FSIZE a write takes what fits and the next one fails (POSIX, setrlimit): as on a disk that becomes full."""
    file = AppendedFile(tmp_path / "log")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, before[1]))
    try:
        file.write(b"a" * 4000)
        with pytest.raises(OSError, match="too large"):
            file.write(b"b" * 500)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    file.write(b"c")
    file.sync()
    file.close()
    assert (tmp_path / "log").read_bytes() == b"a" * 4000 + b"c"
