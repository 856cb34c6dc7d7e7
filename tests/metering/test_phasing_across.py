"""Two supplies on two boards. Source: textbook phasors; 2 ms are 43 degrees of 60 Hz."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.layout.joined_commons import COMMONS
from monitor.metering import BoardMeter
from monitor.metering.phasing_across import PhasingAcrossBoards
from monitor.metering.thresholds import SETTLING_S
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text
from tests.metering.converter import blocks_of, counts_of, identity_of, phase_cut, sine

SECONDS = SETTLING_S + 4.0


def layout_of_two(baud=500000):
    text = head_text(boards=("bench-1",)) + f'baud = 500000\n[[board]]\nname = "bench-2"\nbaud = {baud}\n'
    for k in (1, 2):
        text += (
            supply_text(f"Supply {k}")
            + output_text("A", f"Supply {k}")
            + district_text(0, f"District {k}", f"Supply {k}", board=f"bench-{k}")
        )
    return parse_layout(text)


def brought(layout, board, wave, late_ms, size):
    """Blocks and aggregates of one board whose clock says each moment so much late, cut at a size."""
    identity = identity_of(2)
    late_s = late_ms / 1000
    counts = counts_of([wave, lambda t: wave(t) / 15], SECONDS, identity=identity, seed=len(board) + size)
    blocks = [replace(block, board=board) for block in blocks_of(counts, identity, [size])]
    meter = BoardMeter(layout, board)
    for block in blocks:
        made = meter.feed(block)
        aggregates = [replace(a, start_s=a.start_s + late_s, end_s=a.end_s + late_s) for a in made.aggregates]
        yield replace(block, start_s=block.start_s + late_s), aggregates


def phasings(one, other, *, late_ms=0.0, baud=500000, size=4000):
    layout = layout_of_two(baud)
    across = PhasingAcrossBoards(layout)
    found = []
    for pieces in zip(brought(layout, "bench-1", one, 0.0, size), brought(layout, "bench-2", other, late_ms, size), strict=True):
        for block, aggregates in pieces:
            found += across.feed([block], aggregates)
    return found


@pytest.mark.parametrize("late_ms", [-2.0, 0.0, 2.0])
@pytest.mark.parametrize(
    ("degrees", "verdict", "difference"), [(0, "in-phase", 4.0), (180, "anti-phase", 32.0), (15, "in-phase", 4.0)]
)
def test_two_boards_tell_in_phase_from_opposed_through_their_clocks(degrees, verdict, difference, late_ms):
    (phasing,) = phasings(sine(18), sine(14, degrees=degrees), late_ms=late_ms)
    assert (phasing.supplies, phasing.verdict) == (("Supply 1", "Supply 2"), verdict)
    assert phasing.difference_volts == pytest.approx(difference, abs=0.3)
    assert "confirm it with a meter" in phasing.advice
    assert COMMONS in phasing.advice


@pytest.mark.parametrize("late_ms", [-4.2, 4.2])
def test_clocks_that_are_further_apart_say_nothing(late_ms):
    assert phasings(sine(18), sine(14), late_ms=late_ms) == []


def test_another_mains_and_a_cut_wave_and_another_rate_say_nothing():
    assert phasings(sine(18), sine(14, hertz=60.7)) == []
    assert phasings(sine(18), phase_cut(14, 100)) == []
    assert phasings(sine(18), sine(14), baud=115200) == []


def test_how_the_stream_is_cut_changes_nothing():
    whole, pieces = (phasings(sine(18), sine(14, degrees=180), size=size) for size in (12000, 1733))
    assert [(p.verdict, p.start_s) for p in whole] == [(p.verdict, p.start_s) for p in pieces]
    assert len(whole) == 1
    assert np.allclose([p.degrees for p in whole], [p.degrees for p in pieces], atol=2)
