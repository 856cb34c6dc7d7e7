"""Flickers of lit cars are summed up by the minute, and are no events."""

import pytest

from monitor.diagnosis import Diagnosis
from tests.diagnosis.benches import Bench, diagnose, layout, part


def flickering() -> Bench:
    bench = Bench(seconds=75)
    for k in range(12):
        bench.load[bench.rows(5 + 4 * k, 5.1 + 4 * k), 0] = 0.78
    return bench


def test_they_are_no_events():
    assert diagnose(flickering().readings(), layout())[0] == []


@pytest.mark.parametrize("rows", [40, 7000])
def test_they_are_counted_however_the_stream_is_cut(rows: int):
    block, diagnosis, figures = flickering().readings(), Diagnosis(layout()), []
    for first in range(0, len(block), rows):
        piece = part(block, first, min(len(block), first + rows))
        diagnosis.feed((), (piece,), float(piece.end_s[-1]))
        figures += [figure for figure in diagnosis.drain()[1] if figure.kind == "flickers"]
    assert [(figure.name, figure.value) for figure in figures] == [("Outer main", 12.0)]
