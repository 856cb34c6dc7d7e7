"""The table of figures that decide: each has a unit, a reason and a source, and decides something."""

import re
from pathlib import Path

import monitor.wire

ROOM = Path(monitor.wire.__file__).parent
ROW = re.compile(r"^([A-Z_]+) = \S.*?  # ([^|]+) \| ([^|]{8,}) \| (judgement|measured|common practice|definition)$")


def test_each_has_unit_reason_and_source_and_is_used():
    rows = [line for line in (ROOM / "thresholds.py").read_text().splitlines() if re.match(r"^[A-Z_]+ =", line)]
    used = "".join(path.read_text() for path in ROOM.glob("*.py"))
    assert len(rows) > 20
    assert [row for row in rows if not ROW.match(row)] == []
    assert [row for row in rows if f"th.{row.split()[0]}" not in used] == []
