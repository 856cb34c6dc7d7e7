"""Prints how fast metering runs: ``python tests/bench/bench_metering.py``. One core; no figure is asserted."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from monitor.metering import BoardMeter
from tests.metering.converter import INTERVAL_S, blocks_of, counts_of, identity_of, layout_of, phase_cut, sine

SECONDS = 60


def run(districts, block_scans, wave):
    """Seconds of processor time for a minute, and the median and highest of one block."""
    identity = identity_of(2 * districts, skew_s=INTERVAL_S / (2 * districts + 1))
    counts = counts_of([wave, lambda t: wave(t) / 4] * districts, SECONDS, identity=identity)
    blocks = list(blocks_of(counts, identity, [block_scans]))
    best = None
    for _ in range(3):
        meter, each = BoardMeter(layout_of(districts), "bench-1"), []
        for block in blocks:
            began = time.process_time()
            meter.feed(block)
            each.append(time.process_time() - began)
        best = each if best is None or sum(each) < sum(best) else best
    return sum(best), float(np.median(best)), max(best)


def main():
    print(
        f"{'districts':>9} {'waveform':10} {'scans a block':>13} {'times real time':>15} {'a block, ms':>12} {'highest, ms':>12}"
    )
    for name, wave in (("sine", sine(16)), ("phase-cut", phase_cut(16, 90))):
        for districts, block_scans in ((1, 15_000), (4, 15_000), (8, 15_000), (16, 15_000), (16, 1202), (4, 60), (16, 60)):
            total_s, median_s, highest_s = run(districts, block_scans, wave)
            print(
                f"{districts:9} {name:10} {block_scans:13} {SECONDS / total_s:15.0f} {median_s * 1e3:12.2f} {highest_s * 1e3:12.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
