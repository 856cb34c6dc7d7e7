"""``pilotlamp replay``: a recorded session again, on the same page, faster or slower, by its own layout or another."""

import argparse
import contextlib
import select
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import cast

from monitor.app import Watch
from monitor.cli.bounded import bounded
from monitor.cli.page import configure_page, shown_page
from monitor.cli.terminal import TerminalLines
from monitor.errors import SessionError
from monitor.layout import load_layout
from monitor.link import HostClock
from monitor.runtime.replay import SPEED_LIMIT, Replay
from monitor.sessions import SessionFolder

try:
    import termios
    import tty

    HAS_KEYS = True
except ImportError:  # pragma: no cover - systems without termios: no keys there
    HAS_KEYS = False

KEYS = "space: pause or go on   n: next event   s: a step   + -: speed   0: from the beginning   q: end"
SAY_EVERY_S = 0.2


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("session", type=Path, metavar="SESSION", help="the session's folder")
    parser.add_argument(
        "--layout", type=Path, metavar="LAYOUT.toml", help="judge it by another layout: another protection, another rating"
    )
    parser.add_argument(
        "--speed",
        type=bounded(1, SPEED_LIMIT, f"speed: take a number from 1 to {SPEED_LIMIT:g}"),
        default=1.0,
        metavar="N",
        help="times its own speed, 1 to 60 (%(default)s)",
    )
    configure_page(parser)


def run(args: argparse.Namespace) -> int:
    """Replay until the end or until somebody ends it."""
    if not args.session.is_dir():
        raise SessionError(f"{args.session} is no session folder: 'pilotlamp sessions' lists those there are")
    session = SessionFolder(args.session)
    clock = _SessionClock(session)
    lines = TerminalLines(clock)
    layout = None if args.layout is None else load_layout(args.layout)
    replay = Replay(session, layout, speed=args.speed, sinks=(lines.take,))
    lines.standing = replay.standing
    # The page asks for the shape of a watch, which a replay has.
    with shown_page(cast("Watch", replay), args), _keys() as keys:
        print(f"Replaying {session.name} at {args.speed:g} times its speed.", flush=True)
        if keys:
            print(KEYS, flush=True)
        replay.start()
        try:
            _follow(replay, lines, keys=keys, to_its_end=args.no_page)
        finally:
            replay.stop()
            _print(lines)
            for sentence in replay.damage:
                print(f"pilotlamp: {args.session}: {sentence}; played what is left", file=sys.stderr)
            for verdict in replay.verdicts():
                print(verdict.line(replay.status().first_s))
    return 0


class _SessionClock(HostClock):
    """Wall clock of the session's own day."""

    def __init__(self, session: SessionFolder) -> None:
        super().__init__()
        self.began_at = session.manifest().began_at


def _follow(replay: Replay, lines: TerminalLines, *, keys: bool, to_its_end: bool) -> None:
    while True:
        if keys and not _act_on(replay, _key()):
            return
        if not keys:
            replay.wait(SAY_EVERY_S)
        _print(lines)
        if to_its_end and replay.status().state == "ended":
            return


def _act_on(replay: Replay, key: str) -> bool:
    """Do what a key says; False where it says to end."""
    status = replay.status()
    if key == " ":
        replay.resume() if status.state == "paused" else replay.pause()
    elif key == "n":
        replay.next_event()
    elif key == "s":
        replay.step()
    elif key == "0":
        replay.seek(status.first_s)
    elif key in ("+", "-"):
        replay.set_speed(status.speed * 2 if key == "+" else status.speed / 2)
        print(f"{replay.status().speed:g} times its speed", flush=True)
    return key not in ("q", "\x03", "\x04")


def _key() -> str:
    ready, _, _ = select.select([sys.stdin], [], [], SAY_EVERY_S)
    return sys.stdin.read(1) if ready else ""


def _print(lines: TerminalLines) -> None:
    for line in lines.waiting():
        print(line)
    sys.stdout.flush()


@contextlib.contextmanager
def _keys() -> Iterator[bool]:
    """Single keys from the terminal, where there is one."""
    if not HAS_KEYS or not sys.stdin.isatty():
        yield False
        return
    before = termios.tcgetattr(sys.stdin)
    try:
        tty.setcbreak(sys.stdin)
        yield True
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)
