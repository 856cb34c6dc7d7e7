"""The program of the soak: ``pilotlamp watch`` by a clock that the soak turns; everything else is as a user starts it."""

import argparse
import json
import sys
from pathlib import Path

import numpy as np

import monitor.app
from monitor.cli import watch
from monitor.cli.terminal import TerminalLines
from monitor.layout import load_layout
from monitor.link import clock, serial_source
from monitor.runtime.worker import Inbox

PACES_SHARE = 0.75
"""Reads come more often than in real time: a pty holds only some 12 kB, which is half a second of a board at 30 times its pace."""


def telling(told):
    """An inbox that tells how many bytes wait in it."""

    class TellingInbox(Inbox):
        def put(self, port, chunk):
            taken = super().put(port, chunk)
            told[0] = self._bytes
            return taken

        def take(self, timeout_s):
            item = super().take(timeout_s)
            told[0] = self._bytes
            return item

    return TellingInbox


def noting(clock_s, path):
    """The terminal's lines, and a row for each warning that comes to it: when, by the soak's clock and by the stream's."""
    file, known = path.open("w", buffering=1), set()

    class NotingLines(TerminalLines):
        def take(self, step):
            super().take(step)
            for warning in step.warnings:
                if warning.id not in known:
                    known.add(warning.id)
                    rose = {"rule": warning.rule, "scope": warning.scope.name, "start_s": warning.start_s}
                    file.write(json.dumps({"at_s": clock_s(), "now_s": self._clock.now_s(), **rose}) + "\n")

    return NotingLines


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--clock", type=Path, required=True, help="a file of two doubles: the seconds, the bytes that wait")
    parser.add_argument("--speed", type=float, required=True)
    parser.add_argument("--warnings", type=Path, required=True, help="where each warning is noted as it comes to the terminal")
    watch.configure(parser)
    args = parser.parse_args()
    told = np.memmap(args.clock, dtype=np.float64, mode="r+", shape=(2,))
    clock._steady_s = lambda: float(told[0])
    watch.TerminalLines = noting(clock._steady_s, args.warnings)
    monitor.app.Inbox = telling(told[1:])
    serial_source.PACES_S = tuple(pace_s * PACES_SHARE for pace_s in serial_source.PACES_S)
    # What stands still does so in wall seconds, however fast the show runs.
    monitor.app.STALLED_AFTER_S *= args.speed
    return watch.watch_layout(load_layout(args.layout), args, layout_text=args.layout.read_text(encoding="utf-8"), invented=True)


if __name__ == "__main__":
    sys.exit(main())
