"""What a session keeps of readings: units and meanings in the file, and which figures are only lower bounds."""

from datetime import UTC, datetime

import pyarrow.parquet
import pytest

from monitor.sessions.buckets import BoardBuckets
from monitor.sessions.readings_log import ReadingsLog
from monitor.sessions.table_log import part_paths, read_part
from tests.metering.converter import metered, sine


@pytest.fixture
def part(tmp_path):
    """Two districts of sines for two seconds; the first one's 40 A RMS are beyond the converter's 30 A."""
    buckets = BoardBuckets()
    for block in metered([sine(16), sine(40), sine(12), sine(3)], 2).readings:
        buckets.add(block)
    log = ReadingsLog(tmp_path, 1, datetime(2026, 11, 25, tzinfo=UTC))
    log.write(buckets.take(everything=True))
    log.seal()
    return part_paths(tmp_path, "readings")[0]


def test_every_column_has_its_unit_and_meaning(part):
    schema = pyarrow.parquet.read_schema(part)
    assert all(field.metadata[b"meaning"] for field in schema)
    units = {field.name: field.metadata[b"unit"].decode() for field in schema}
    assert {units[name] for name in units if name.startswith(("volts", "far"))} == {"V"}
    assert {units[name] for name in units if name.startswith("amps")} == {"A"}
    assert (units["watts"], units["volt_amperes"], units["frequency_hz"], units["at_s"]) == ("W", "VA", "Hz", "s")


def test_clipped_figures_are_counted_as_such(part):
    rows = read_part(part).to_pandas()
    clipped = rows[rows["district"] == "District 0"]
    assert (clipped["clipped"] == clipped["readings"]).all()
    assert (clipped["doubtful"] == clipped["readings"]).all()
    assert (rows[rows["district"] == "District 1"][["clipped", "doubtful"]] == 0).all(axis=None)


def test_parts_from_before_lack_what_came_later(part, tmp_path):
    old = tmp_path / "readings-0002.parquet"
    pyarrow.parquet.write_table(pyarrow.parquet.read_table(part).drop(["clipped"]), old)
    assert set(read_part(old, ["at_s", "clipped"], later=("clipped",)).to_pandas()["clipped"]) == {0}
    with pytest.raises((KeyError, pyarrow.ArrowInvalid)):
        read_part(old, ["at_s", "clipped"])
