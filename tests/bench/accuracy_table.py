"""Prints the table of metering errors as results.md has it: ``python tests/bench/accuracy_table.py``.

Each waveform goes through a model of a multiplexed 10-bit converter (scan every 832 us, 104 us from channel to channel, noise of half
a count, +-36 V and +-30 A of range). Shown are the largest errors of all windows from one second on, as shares of full scale
(36 V, 30 A, 1080 W), of one-cycle figures, of 10/12-cycle figures, and of their mean over three seconds.

A second table is of phase-cut mains through the real front end (``tests/metering/front_end.py``): the board's filter, edges that take
time, conversions that begin with the next tick of 12 us; 99 of 100 one-cycle figures are within what it shows.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from tests.metering import front_end
from tests.metering.converter import (
    FULL_AMPS,
    FULL_VOLTS,
    identity_of,
    joined,
    layout_of,
    metered,
    metered_counts,
    pulsed,
    rectified,
    sine,
)
from tests.metering.front_end import CutMains

FROM_S, SECONDS = 1.0, 7.0
SCALES = {"volts_rms": FULL_VOLTS, "amps_rms": FULL_AMPS, "watts": FULL_VOLTS * FULL_AMPS}


def cases():
    """Name, nominal hertz, true hertz, volts, amps, and what is true of both and of the watts."""
    for nominal, hertz in ((60, 60.0), (60, 60.3), (50, 50.0), (50, 49.8)):
        for lag, factor in ((0, "1"), (60, "0.5")):
            watts = 80 * np.cos(np.radians(lag))
            yield f"sine, {hertz:g} Hz, PF {factor}", nominal, hertz, sine(16, hertz), sine(5, hertz, -lag), (16, 5, watts)
    yield "sine with 4 V offset", 60, 60.0, sine(16, offset=4), sine(4, offset=1), (np.sqrt(272), np.sqrt(17), 68)
    yield "full-wave rectified", 60, None, rectified(16), rectified(16, load=4), (16, 4, 64)
    half = 16 / np.sqrt(2)
    yield (
        "half-wave rectified",
        60,
        60.0,
        rectified(16, half=True),
        rectified(16, half=True, load=4),
        (half, half / 4, half**2 / 4),
    )
    yield "DC", 60, None, lambda t: 12 + 0 * t, lambda t: 3 + 0 * t, (12, 3, 36)
    root = np.sqrt(0.4)
    for hertz in (97.3, 20_011):
        true = (16 * root, 4 * root, 64 * 0.4)
        yield f"pulses, 40 %, {hertz:g} Hz", 60, None, pulsed(16, 0.4, hertz), pulsed(16, 0.4, hertz, 4), true


def worst(blocks, name, true, seconds=None, from_s=FROM_S):
    """Largest error in per cent of full scale."""
    starts, figures = joined(blocks, "start_s"), joined(blocks, name)[:, 0]
    figures = figures[starts >= from_s]
    if seconds is not None:
        length = round(seconds / 0.2)
        square = figures if name == "watts" else figures**2
        means = np.convolve(square, np.ones(length) / length, "valid")
        figures = means if name == "watts" else np.sqrt(means)
    return 100 * float(np.abs(figures - true).max()) / SCALES[name]


def cut_cases():
    """Name, what is cut, scans a second, and seconds until a sample has crept across every place."""
    for degrees in (20, 30, 45, 60, 90, 120, 135, 150, 155):
        for edge_us in (0, 60, 250):
            yield (
                f"{degrees}°, edges of {edge_us} µs",
                CutMains(degrees=degrees, edge_s=edge_us * 1e-6, hertz=60.03),
                1238.39,
                1.0,
            )
    for hertz in (47, 49.95, 53, 55, 57, 63):
        yield f"90°, 60 µs, {hertz:g} Hz", CutMains(degrees=90, edge_s=60e-6, hertz=hertz), 1238.39, 1.0
    for rate in (1200, 1202, 1600, 2400, 4000):
        yield f"120°, 60 µs, {rate} scans a second", CutMains(degrees=120, edge_s=60e-6, hertz=60.03), rate, 1.0
    for degrees in (45, 90, 135):
        mains = CutMains(degrees=degrees, edge_s=60e-6, unequal=4, third=0.03, hertz=60.03)
        yield f"{degrees}°, 60 µs, halves 4° apart, 3 % of third harmonic", mains, 1238.39, 1.0
    for degrees in (30, 90, 135, 150):
        for ratio in (9.98, 9.995, 10.01, 10.02):
            from_s = max(1.0, 1 / 120 / abs(ratio - 10) + 0.3)
            yield f"{degrees}°, 60 µs, {ratio} samples a half cycle", CutMains(degrees=degrees, edge_s=60e-6), 120 * ratio, from_s


def cut_errors(mains, rate, from_s):
    """Volts, amps and watts: p99 of one cycle, highest of 200 ms and of 3 s, in per cent of full scale; then the share that is good."""
    identity = identity_of(2, interval_s=1 / rate, skew_s=80.75e-6)
    waves = [lambda t: mains.sampled(t, 0), lambda t: mains.sampled(t, 1)]
    counts = front_end.counts_of(waves, identity, from_s + 6, start_s=0.0123)
    made = metered_counts(counts, identity, layout_of(1, 50 if mains.hertz < 55 else 60, filter_us=56.4))
    for (name, scale), true in zip(SCALES.items(), mains.truth(), strict=True):
        cycles = joined(made.readings, name)[joined(made.readings, "start_s") >= from_s, 0]
        yield 100 * np.percentile(np.abs(cycles - true), 99) / scale
        yield worst(made.aggregates, name, true, from_s=from_s)
        yield worst(made.aggregates, name, true, seconds=3, from_s=from_s)
    yield float(joined(made.aggregates, "good").mean())


def main():
    print("| waveform | U 1 cycle | U 200 ms | U 3 s | I 1 cycle | I 200 ms | P 1 cycle | P 200 ms | Hz over 1 s | good |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for name, nominal, hertz, volts, amps, true in cases():
        made = metered([volts, amps], SECONDS, layout=layout_of(1, nominal), start_s=0.0123)
        cells = []
        for figure, want in zip(SCALES, true, strict=True):
            cells += [worst(made.readings, figure, want), worst(made.aggregates, figure, want)]
            if figure == "volts_rms":
                cells.append(worst(made.aggregates, figure, want, seconds=3))
        row = " | ".join(f"{cell:.2f} %" for cell in cells)
        measured = joined(made.readings, "frequency_hz")
        over_1_s = np.convolve(measured, np.ones(2 * nominal) / (2 * nominal), "valid")
        off = "-" if hertz is None or not np.isfinite(over_1_s).all() else f"{np.abs(over_1_s - hertz).max():.4f}"
        print(f"| {name} | {row} | {off} | {joined(made.aggregates, 'good').mean():.0%} |", flush=True)
    print("\n| phase-cut mains | U p99, 200 ms, 3 s | I p99, 200 ms, 3 s | P p99, 200 ms, 3 s | good |")
    print("|---|---|---|---|---|")
    for name, mains, rate, from_s in cut_cases():
        *found, good = cut_errors(mains, rate, from_s)
        errors = [f"{error:.2f}" for error in found]
        print(
            f"| {name} | " + " | ".join(", ".join(errors[k : k + 3]) + " %" for k in (0, 3, 6)) + f" | {good:.0%} |", flush=True
        )


if __name__ == "__main__":
    main()
