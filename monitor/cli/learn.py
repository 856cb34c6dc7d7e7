"""``pilotlamp learn``: what one load draws, learnt from the running layout or from a recorded session, kept with the layout."""

import argparse
import threading
from pathlib import Path

import numpy as np

from monitor.app import Watch
from monitor.cli.plain_output import Progress
from monitor.cli.prompts import agrees
from monitor.errors import LayoutError, SessionError
from monitor.layout import Layout, Load, load_layout
from monitor.layout.edit import change_layout, set_load_draw, spare_path
from monitor.planning.bench_check import today_here
from monitor.planning.learning import ROW_S, learn_draw, load_to_learn
from monitor.values.arrays import Floats

SPAN_LIMITS_S = (5.0, 590.0)
"""The live store keeps ten minutes."""
LOOK_EVERY_S = 0.5

COLUMNS = ("volts_rms", "amps_rms", "watts")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--load", required=True, metavar="NAME", help="the load to learn; it runs alone on its district")
    parser.add_argument(
        "--also",
        action="append",
        default=[],
        metavar="NAME",
        help="another load of that district that is on too; may be given again",
    )
    parser.add_argument("--seconds", type=float, default=60.0, metavar="N", help="how long to look (default 60)")
    parser.add_argument(
        "--session", type=Path, metavar="SESSION", help="look at a recorded session instead of the running layout"
    )
    parser.add_argument(
        "--from",
        type=float,
        default=None,
        dest="from_s",
        metavar="S",
        help="of the session: from this second on (default: its beginning)",
    )
    parser.add_argument("--yes", action="store_true", help="write it into the layout file without asking")


def run(args: argparse.Namespace) -> int:
    """Look, say what was learnt, write it where agreed."""
    layout = load_layout(args.layout)
    load, others = load_to_learn(layout, args.load, args.also)
    low, high = SPAN_LIMITS_S
    if not low <= args.seconds <= high:
        raise LayoutError(f"a span of {args.seconds:g} s cannot be learnt from: give --seconds from {low:g} to {high:g}")
    rows = _from_session(args, load) if args.session is not None else _from_boards(layout, load, args.seconds)
    learnt = learn_draw(load.name, *rows, others=others)
    print(learnt.sentence)
    if not args.yes and not agrees("Write this into the layout file? [yes/no]"):
        print("Nothing was written.")
        return 0
    change_layout(args.layout, lambda text: set_load_draw(text, load.name, learnt.keys(today_here().isoformat())))
    print(f"Written into {args.layout}; the file as it was is {spare_path(args.layout)}.")
    return 0


def _from_boards(layout: Layout, load: Load, seconds: float) -> tuple[Floats, Floats, Floats]:
    """Watch for so long and take what the district drew."""
    print(f"Looking at {load.district} for {seconds:g} s: let {load.name} stand for a second, then start and run it.", flush=True)
    watch = Watch(layout)
    watch.start()
    try:
        began_s, pause = watch.clock.now_s(), threading.Event()
        with Progress("looking", seconds) as progress:
            while watch.clock.now_s() - began_s < seconds:
                pause.wait(LOOK_EVERY_S)
                progress.reached(watch.clock.now_s() - began_s)
        window = watch.live.trend(round(seconds / ROW_S), load.district)
        ports = " ".join(status.sentence for status in watch.statuses())
    finally:
        watch.stop()
    if not np.isfinite(window.amps_rms).any():
        raise LayoutError(
            f"nothing was read ({ports}): where the layout is being watched already, learn on its page under Before the show, "
            "or afterwards with --session",
            table=f'district "{load.district}"',
        )
    return window.volts_rms[:, 0], window.amps_rms[:, 0], window.watts[:, 0]


def _from_session(args: argparse.Namespace, load: Load) -> tuple[Floats, Floats, Floats]:
    # Opens tables: not for looking at boards.
    from monitor.sessions.folder import SessionFolder  # noqa: PLC0415 - start-up time
    from monitor.sessions.readings_log import load_readings  # noqa: PLC0415 - start-up time

    session = SessionFolder(args.session)
    session.manifest()
    stored = load_readings(session, COLUMNS).get(load.district)
    if stored is None or not len(stored.at_s):
        raise SessionError(f'{args.session}: it holds no readings of district "{load.district}"')
    first_s = float(stored.at_s[0]) if args.from_s is None else args.from_s
    number = np.round((stored.at_s - first_s) / ROW_S).astype(np.int64)
    length = min(round(args.seconds / ROW_S), int(number.max()) + 1)
    if length < 1:
        raise SessionError(f"{args.session}: it ends before second {first_s:g}: give an earlier --from")
    inside = (number >= 0) & (number < length)
    rows = np.full((len(COLUMNS), length), np.nan)
    for row, name in zip(rows, COLUMNS, strict=True):
        row[number[inside]] = stored.figures[name][inside]
    return rows[0], rows[1], rows[2]
