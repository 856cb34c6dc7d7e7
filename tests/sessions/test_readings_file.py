"""Readings of a replay in one file; pyarrow's own account of it is the reference."""

import pyarrow.parquet as pq

from monitor.sessions import readings_file
from monitor.sessions.readings_file import ReadingsFile
from monitor.values import Chunk, Step
from tests.protection.streams import readings


def test_rows_go_to_the_disk_as_they_come(tmp_path, monkeypatch):
    """Else a whole day of readings would wait in memory for the end."""
    monkeypatch.setattr(readings_file, "ROWS_A_GROUP", 500)
    path = tmp_path / "readings.parquet"
    block = readings(1.0, lambda t: 2.0 + 0 * t)
    with ReadingsFile(path) as file:
        for _ in range(7):
            file.add(Step(port="x", chunk=Chunk(data=b""), now_s=1.0, readings=(block,)))
    account = pq.ParquetFile(path).metadata
    assert account.num_rows == 7 * 120 * 2
    assert [account.row_group(k).num_rows for k in range(account.num_row_groups)] == [720, 720, 240]
