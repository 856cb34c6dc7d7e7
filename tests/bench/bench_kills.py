"""Kills a recording at random moments, recovers it, and says what was lost.

Usage: python tests/bench/bench_kills.py [KILLS]   (200 by default: about five minutes)
"""

# ruff: noqa: S311 - moments that are known, not secret

import random
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.sessions.killing import kill_once


def main(kills):
    dice = random.Random(20)
    moments = [dice.uniform(0.05, 2.5) for _ in range(kills)]
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(3) as pool:
        found = list(pool.map(lambda k: kill_once(Path(folder) / str(k), moments[k]), range(kills)))
    bad = [(moment, trouble) for moment, trouble in zip(moments, found, strict=True) if trouble]
    for moment, trouble in bad:
        print(f"killed after {moment:.3f} s: {'; '.join(trouble)}")
    print(f"{kills} kills at random moments: {kills - len(bad)} recovered with at most a second lost, {len(bad)} not")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
