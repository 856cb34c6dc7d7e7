import subprocess
import sys

import pytest

from tests.firmware import bench, fernhollow, toolchain


@pytest.fixture
def emulated_board():
    """Starts boards as ``bench.start`` does and stops them after the test."""
    boards = []

    def start(waves=None, **options):
        boards.append(bench.start(waves, **options))
        return boards[-1]

    yield start
    for board in boards:
        board.stop()


@pytest.fixture
def watch(tmp_path):
    """Starts ``pilotlamp watch`` on a port; what still runs at the end of the test is ended."""
    started = []

    def start(port, *options):
        path = tmp_path / "fernhollow.layout.toml"
        path.write_text(fernhollow.layout(port), encoding="utf-8")
        recordings = ["--recordings", str(tmp_path / "recordings")]
        command = [sys.executable, "-m", "monitor", "watch", str(path), *recordings, *map(str, options)]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        started.append(subprocess.Popen(command, text=True, cwd=toolchain.NOTES.parent, **pipes))
        return started[-1]

    yield start
    for process in started:
        process.kill()
        process.communicate()
