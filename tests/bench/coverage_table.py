"""Prints how often the true figure lies within the 95 % interval at 200 ms, and how wide intervals are against what is needed.

``python tests/bench/coverage_table.py [--boards 150]``: four outputs a board; boards, waveforms and calibrations are drawn by
``tests/metering/coverage_oracle.py``. "Needed" is the factor on each interval that would make exactly 95 % of a cell hold.
"""

import argparse

from tests.metering.coverage_oracle import PARTS, WAVES, run_cell


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--boards", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print("| waveform | parts | volts | amps | watts | good |")
    print("|---|---|---|---|---|---|")
    for wave in WAVES:
        for parts in PARTS:
            cell = run_cell(wave, parts, args.boards, args.seed)
            kept = wave != "pulses"
            figures = [
                f"{cell.coverage(what):.1%}, {cell.excess(what):.2f}" if kept else "-" for what in ("volts", "amps", "watts")
            ]
            print("|", " | ".join([wave, parts, *figures, f"{cell.good / cell.all:.1%}"]), "|", flush=True)


if __name__ == "__main__":
    main()
