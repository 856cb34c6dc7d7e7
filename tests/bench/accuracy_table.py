"""Prints the table of metering errors as DEVELOPERS.md has it: ``python tests/bench/accuracy_table.py``.

Each waveform goes through a model of a multiplexed 10-bit converter (scan every 832 us, 104 us from channel to channel, noise of half
a count, +-36 V and +-30 A of range). Shown are the largest errors of all windows from one second on, as shares of full scale
(36 V, 30 A, 1080 W), of one-cycle figures, of 10/12-cycle figures, and of their mean over three seconds.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from tests.metering.converter import FULL_AMPS, FULL_VOLTS, joined, layout_of, metered, phase_cut, pulsed, rectified, sine
from tests.metering.waveforms import cut_rms

FROM_S, SECONDS = 1.0, 7.0
SCALES = {"volts_rms": FULL_VOLTS, "amps_rms": FULL_AMPS, "watts": FULL_VOLTS * FULL_AMPS}


def cases():
    """Name, nominal hertz, true hertz, volts, amps, and what is true of both and of the watts."""
    for nominal, hertz in ((60, 60.0), (60, 60.3), (50, 50.0), (50, 49.8)):
        for lag, factor in ((0, "1"), (60, "0.5")):
            watts = 80 * np.cos(np.radians(lag))
            yield f"sine, {hertz:g} Hz, PF {factor}", nominal, hertz, sine(16, hertz), sine(5, hertz, -lag), (16, 5, watts)
    for nominal in (60, 50):
        for degrees in (30, 45, 60, 90, 120, 135, 150):
            volts = cut_rms(16, degrees)
            wave, amps = phase_cut(16, degrees, nominal), phase_cut(16, degrees, nominal, 4)
            yield f"phase-cut {degrees}°, {nominal} Hz", nominal, nominal, wave, amps, (volts, volts / 4, volts**2 / 4)
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


def worst(blocks, name, true, seconds=None):
    """Largest error in per cent of full scale."""
    starts, figures = joined(blocks, "start_s"), joined(blocks, name)[:, 0]
    figures = figures[starts >= FROM_S]
    if seconds is not None:
        length = round(seconds / 0.2)
        square = figures if name == "watts" else figures**2
        means = np.convolve(square, np.ones(length) / length, "valid")
        figures = means if name == "watts" else np.sqrt(means)
    return 100 * float(np.abs(figures - true).max()) / SCALES[name]


def main():
    print("| waveform | U 1 cycle | U 200 ms | U 3 s | I 1 cycle | I 200 ms | P 1 cycle | P 200 ms | Hz over 1 s |")
    print("|---|---|---|---|---|---|---|---|---|")
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
        print(f"| {name} | {row} | {off} |", flush=True)


if __name__ == "__main__":
    main()
