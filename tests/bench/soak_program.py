"""The program of the soak: ``pilotlamp watch`` on a clock that runs faster; everything else is as a user starts it."""

import argparse
import sys

import monitor.app
from monitor.cli import watch
from monitor.layout import load_layout
from monitor.link import serial_source

PACES_SHARE = 0.5
"""Reads come twice as often as in real time: a pty holds only some 12 kB, which is half a second of a board at 30 times its pace."""


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--speed", type=float, required=True)
    watch.configure(parser)
    args = parser.parse_args()
    # What stands still does so in wall seconds, however fast the show runs.
    monitor.app.STALLED_AFTER_S *= args.speed
    serial_source.PACES_S = tuple(pace_s * PACES_SHARE for pace_s in serial_source.PACES_S)
    return watch.watch_layout(
        load_layout(args.layout), args, layout_text=args.layout.read_text(encoding="utf-8"), invented=True, speed=args.speed
    )


if __name__ == "__main__":
    sys.exit(main())
