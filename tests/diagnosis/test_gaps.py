"""Lost packets and lost scans are holes in the readings and make no events."""

import numpy as np
import pytest

from monitor.values import ReadingBlock
from tests.diagnosis.benches import Bench, bare, diagnose, layout


def with_holes(block: ReadingBlock, share: float, seed: int) -> ReadingBlock:
    rng = np.random.default_rng(seed)
    keep = np.repeat(rng.random(len(block) // 6 + 1) > share, 6)[: len(block)]
    arrays = {
        name: getattr(block, name)[keep]
        for name in ReadingBlock.__dataclass_fields__
        if isinstance(getattr(block, name), np.ndarray)
    }
    return ReadingBlock(board=block.board, districts=block.districts, **arrays)


@pytest.mark.parametrize("share", [0.2, 0.45])
def test_holes_make_no_events(share: float):
    for seed in range(3):
        events, patterns = diagnose(with_holes(Bench(seconds=60, seed=seed).readings(), share, seed), layout())
        assert (events, patterns) == ([], [])


def test_what_happens_between_holes_is_still_found():
    bench = Bench(seconds=60)
    bench.fed[bench.rows(20, 21), 0] = 0
    bench.offset[bench.rows(30, 32), 1] = 2
    bench.fed[bench.rows(40, 40.7)] = 0.6
    events, _ = diagnose(with_holes(bench.readings(), 0.25, 7), layout())
    assert bare(events) == [
        ("direction-break", "Outer main"),
        ("dc-signal", "Inner main"),
        *(("mains-dip", name) for name in ("Inner main", "Outer main", "Quarry branch", "Town lights")),
    ]


def test_no_reading_at_all_is_no_event():
    block = Bench(seconds=40).readings()
    block.volts_rms[1000:1600, 2] = np.nan
    block.amps_rms[1000:1600, 2] = np.nan
    assert diagnose(block, layout())[0] == []
