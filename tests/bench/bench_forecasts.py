"""Measure how often the true opening lies within the interval of the time left, on devices that an oracle draws at random.

    python tests/bench/bench_forecasts.py [--devices 60] [--seed 0] [--without-points]

For each kind of device and each course of the draw: devices that opened, how many were warned of before, moments (every two seconds
while a warning stands), and shares of moments at which the true opening lay inside, before and behind the interval, and at which
no end of it was named.
"""

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.protection.device_oracle import POINTS_AT, PROFILES, countdown


def row(kind, profile, rng, devices, *, points):
    """One cell of the table."""
    shows = [moments for _ in range(devices) if (moments := countdown(kind, profile, rng, points=points)) is not None]
    found = [moment for moments in shows for moment in moments]
    early = np.mean([left_s < forecast.earliest_s for left_s, forecast in found])
    late = np.mean([forecast.latest_s is not None and left_s > forecast.latest_s for left_s, forecast in found])
    open_end = np.mean([forecast.latest_s is None for _, forecast in found])
    warned = sum(bool(moments) for moments in shows)
    shares = f"{1 - early - late:7.1%} {early:7.1%} {late:7.1%} {open_end:8.1%}"
    return f"{kind:11} {profile:9} {len(shows):7} {warned:7} {len(found):8} {shares}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--devices", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--without-points", action="store_true")
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    print(
        f"{'device':11} {'draw':9} {'opened':>7} {'warned':>7} {'moments':>8} {'inside':>7} {'before':>7} {'behind':>7} {'no end':>8}"
    )
    for kind in POINTS_AT:
        for profile in PROFILES:
            print(row(kind, profile, rng, args.devices, points=not args.without_points), flush=True)


if __name__ == "__main__":
    main()
