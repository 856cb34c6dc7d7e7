import pytest

from tests.firmware import bench


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
