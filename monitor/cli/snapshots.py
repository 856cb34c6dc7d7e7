"""``pilotlamp snapshots``: the samples around the events of a session, listed, or taken out as COMTRADE or CSV."""

import argparse
from collections.abc import Callable
from pathlib import Path

from monitor.cli.plain_output import Progress
from monitor.errors import SessionError
from monitor.runtime.replay import session_steps
from monitor.sessions import Playback, SessionFolder
from monitor.sessions.comtrade import FORMS, Origin, moment_files
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.snapshot_log import Moments
from monitor.values import Event, Snapshot

Find = Callable[[Event], Snapshot | None]


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("session", type=Path, metavar="SESSION", help="the session's folder")
    parser.add_argument(
        "--event", type=int, action="append", default=[], metavar="N", help="this event only; may be given again for further ones"
    )
    parser.add_argument("--out", type=Path, metavar="DIR", help="write files here, made where it does not exist; else only list")
    parser.add_argument(
        "--form",
        choices=FORMS,
        default=FORMS[0],
        help="comtrade: IEEE C37.111-1999, a .cfg and a binary .dat each; comtrade-ascii: its .dat as text; "
        "csv: for spreadsheet programs (%(default)s)",
    )
    parser.add_argument(
        "--again", action="store_true", help="cut them again from the raw bytes: for sessions that were recorded without them"
    )


def run(args: argparse.Namespace) -> int:
    """List or write."""
    session = SessionFolder(args.session)
    manifest, layout = session.manifest(), session.layout()
    events, find = _cut_again(session) if args.again else _kept(session)
    chosen = _chosen(events, args.event, session)
    if args.out is None:
        _list(session, chosen, find)
        return 0
    origin = Origin(station=manifest.title, mains_hertz=layout.mains.hertz, began_at=manifest.began_at)
    written = 0
    for event in chosen:
        snapshot = find(event)
        if snapshot is not None:
            _write(args.out, moment_files(snapshot, event, origin, args.form))
            written += 1
    print(f"{args.out}: {written} of {len(chosen)} moments written.")
    if written < len(chosen) and not args.again:
        print("Of the others no samples were kept: --again cuts them from the raw bytes, where their board sends waveforms.")
    return 0


def _kept(session: SessionFolder) -> tuple[list[Event], Find]:
    moments = Moments(session)
    for sentence in moments.damage:
        print(f"{session.name}: {sentence}; --again makes it again")
    return read_notices(session, "events", Event), moments.snapshot


def _cut_again(session: SessionFolder) -> tuple[list[Event], Find]:
    """Through the very pipeline that watched it, chunk by chunk as they came: so the numbers stay what they were."""
    events: dict[int, Event] = {}
    snapshots: dict[int, Snapshot] = {}
    first_s = session.manifest().first_s
    with Progress("cutting", session.length_s()) as progress:
        for step in session_steps(Playback(session), session.layout()):
            events.update((event.id, event) for event in step.events)
            snapshots.update((snapshot.event_id, snapshot) for snapshot in step.snapshots)
            progress.reached(step.now_s - first_s)
    return list(events.values()), lambda event: snapshots.get(event.id)


def _chosen(events: list[Event], wanted: list[int], session: SessionFolder) -> list[Event]:
    known = {event.id: event for event in events}
    for number in wanted:
        if number not in known:
            raise SessionError(
                f"{session.path} has no event {number}: 'pilotlamp snapshots {session.path}' lists those there are"
            )
    return [known[number] for number in wanted] or sorted(events, key=lambda event: event.start_s)


def _list(session: SessionFolder, events: list[Event], find: Find) -> None:
    if not events:
        print(f"{session.path}: no events.")
        return
    print(f"{'event':>6}  {'time':19}  {'district':20} {'cause':16} {'lasted s':>9} {'samples':>8}")
    for event in events:
        at = session.wall_time(event.start_s).astimezone().strftime("%Y-%m-%d %H:%M:%S")
        lasted = "-" if event.end_s is None else f"{event.end_s - event.start_s:.2f}"
        snapshot = find(event)
        samples = "none" if snapshot is None else str(len(snapshot.values))
        print(f"{event.id:6}  {at:19}  {event.district[:20]:20} {event.cause.value:16} {lasted:>9} {samples:>8}")


def _write(folder: Path, files: dict[str, bytes]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            (folder / name).write_bytes(data)
    except OSError as error:
        raise SessionError(f"{folder} cannot be written ({error.strerror}): give another folder with --out") from error
