"""``pilotlamp sessions``: list what was recorded, put cut-off sessions in order, remove old ones where asked."""

import argparse
import shutil
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.cli.bounded import bounded
from monitor.cli.prompts import agrees
from monitor.errors import SessionError
from monitor.sessions import SessionFolder, find_sessions
from monitor.sessions.durable import is_held
from monitor.sessions.folder import LOCK, damaged_sessions

ACTIONS = ("list", "recover", "check", "demo")
WHOLE = "{}: every file is as it was written"


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "action",
        nargs="?",
        choices=ACTIONS,
        default="list",
        help="list (the default); recover: put sessions in order that were cut off; check: compare every file with its checksum; "
        "demo: make a few small invented ones",
    )
    parser.add_argument("--recordings", type=Path, default=Path("recordings"), metavar="DIR", help="where sessions are kept")
    parser.add_argument(
        "--keep-days",
        type=bounded(0, 1e6, "number of days"),
        metavar="N",
        help="remove sessions that ended more than N days ago, after asking",
    )
    parser.add_argument("--yes", action="store_true", help="remove without asking")


def run(args: argparse.Namespace) -> int:
    """Run the chosen action."""
    if args.action == "demo":
        return _demo(args.recordings)
    if not args.recordings.is_dir():
        raise SessionError(f"{args.recordings}: there is no such folder: give the one that holds the sessions with --recordings")
    if args.keep_days is not None:
        return _keep(args)
    return {"list": _list, "recover": _recover, "check": _check}[args.action](args.recordings)


def _list(recordings: Path) -> int:
    sessions = list(find_sessions(recordings))
    for session in sessions:
        print(_line(session))
    damaged = [str(error) for _, error in damaged_sessions(recordings)]
    for sentence in damaged:
        print(f"damaged: {sentence}")
    if not sessions and not damaged:
        print(f"{recordings}: no session yet.")
    return 0


def _line(session: SessionFolder) -> str:
    manifest, closing = session.manifest(), session.closing()
    size_mb = sum(path.stat().st_size for path in session.path.rglob("*") if path.is_file()) / 1e6
    began = (manifest.began_at + timedelta(seconds=manifest.first_s)).astimezone().strftime("%Y-%m-%d %H:%M")
    if closing is not None:
        length_s = closing.ended_s - manifest.first_s
        state = f"{length_s / 60:6.1f} min  {closing.reason}{'' if not closing.losses else '; some of it is missing'}"
    elif is_held(session.path / LOCK):
        state = "   now   being recorded"
    else:
        state = "     ?   cut off: 'pilotlamp sessions recover' puts it in order"
    invented = "  (invented: a demonstration)" if manifest.invented else ""
    return f"{began}  {size_mb:7.1f} MB  {state}{invented}\n    {session.path}"


def _recover(recordings: Path) -> int:
    # Opens tables: not for listing.
    from monitor.sessions.recovery import recover_all  # noqa: PLC0415 - start-up time

    recovered = recover_all(recordings)
    for each in recovered:
        print(f"{each.session.path}: put in order, {each.ended_s:.0f} s in all.", *each.losses, sep="\n    ")
    left = [
        sentence
        for session, sentence in _conditions(recordings)
        if sentence != WHOLE.format(session.path) and not is_held(session.path / LOCK)
    ]
    print(*left, sep="\n", end="\n" if left else "")
    if not recovered and not left:
        print("Every session is in order.")
    return 1 if left else 0


def _demo(recordings: Path) -> int:
    from monitor.cli.demo_sessions import make_demo_sessions  # noqa: PLC0415 - start-up time

    for session in make_demo_sessions(recordings):
        print(f"{session.path}: made by the rehearsal model; nothing in it was measured")
    return 0


def _check(recordings: Path) -> int:
    is_damaged = False
    for session, sentence in _conditions(recordings):
        is_damaged = is_damaged or sentence != WHOLE.format(session.path)
        print(sentence)
    return 1 if is_damaged else 0


def _conditions(recordings: Path) -> Iterator[tuple[SessionFolder, str]]:
    """How each session stands, damaged manifests first."""
    from monitor.sessions.pack import damage_of  # noqa: PLC0415 - start-up time

    yield from ((session, str(error)) for session, error in damaged_sessions(recordings))
    for session in find_sessions(recordings):
        damage = "; ".join(damage_of(session))
        yield session, f"{session.path}: {damage}" if damage else WHOLE.format(session.path)


def _keep(args: argparse.Namespace) -> int:
    from monitor.sessions.folder import older_than  # noqa: PLC0415 - start-up time

    old = older_than(args.recordings, args.keep_days, datetime.now(tz=UTC))
    if not old:
        print(f"No session ended more than {args.keep_days:g} days ago.")
        return 0
    for session in old:
        print(_line(session))
    if not args.yes:
        if not sys.stdin.isatty():
            raise SessionError("there is no terminal to ask on: add --yes to remove them")
        if not agrees(f"Remove these {len(old)} sessions for good? [y/N]"):
            print("Nothing was removed.")
            return 0
    for session in old:
        shutil.rmtree(session.path)
    print(f"{len(old)} sessions removed.")
    return 0
