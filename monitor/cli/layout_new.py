"""``pilotlamp layout new``: listens to what is plugged in, asks, writes the layout file."""

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

from monitor.app import port_source
from monitor.errors import LayoutError
from monitor.layout.edit import write_layout
from monitor.link import HostClock
from monitor.planning.bench_check import today_here
from monitor.runtime.setup_ports import SetupPorts
from monitor.setup.draft import FoundBoard, SetupDraft, check_folder, draft_path, keep_draft, load_draft
from monitor.setup.first_setup import FirstSetup
from monitor.setup.questions import SetupQuestion
from monitor.setup.terminal import TerminalInterview

LOOK_S, MORE_S = 0.1, 1.5


def run(args: argparse.Namespace) -> int:
    """Listen, ask, write."""
    path: Path = args.file
    if path.exists():
        raise LayoutError("this file is there already and stays as it is: give another name", source=str(path))
    check_folder(path)  # refused before the first question
    draft = load_draft(path)
    if draft.answers:
        print(f"Going on with what was typed before (delete {draft_path(path)} to begin again).")
    clock = HostClock()
    ports = SetupPorts(lambda port, baud: port_source(port, baud, clock), clock.now_s)
    ports.start(args.port)
    try:
        draft = draft.with_boards(_found_boards(ports, clock))
        if not draft.boards:
            print("No board was found. The file will have a place for one: plug it in later and write its port there.")
        print("Return takes what stands in brackets; 'back' goes to the question before; Ctrl-C keeps what was typed.")
        boards = draft
        interview = TerminalInterview(
            input, print, lambda changed: keep_draft(path, changed), lambda question: _now(ports, boards, question)
        )
        draft = interview.run(draft, lambda changed: FirstSetup(changed).walk)
    except (EOFError, KeyboardInterrupt) as error:
        print()
        raise LayoutError(
            "the answers ended before the questions: no layout was written; what was typed is kept, and the same command goes on with it",
            source=str(path),
        ) from error
    finally:
        ports.stop()
    write_layout(path, FirstSetup(draft).text(today_here()))
    draft_path(path).unlink(missing_ok=True)
    print(f"Wrote {path}. Next: pilotlamp bench {path} --ask (is each supply fit to be used?), then pilotlamp watch {path}")
    return 0


def _found_boards(ports: SetupPorts, clock: HostClock) -> Iterator[FoundBoard]:
    """Boards that talk; all of a port's, and all outputs of one that does not say how many it has."""
    print("Listening to the ports ...", flush=True)
    while ports.is_searching():
        time.sleep(LOOK_S)
    until_s = clock.now_s() + MORE_S
    while clock.now_s() < until_s:
        time.sleep(LOOK_S)
    for port, view in ports.views().items():
        print(f"  {port}: {view.sentence}")
        yield from (each.board for each in view.boards)


def _now(ports: SetupPorts, draft: SetupDraft, question: SetupQuestion) -> str:
    """What a pair shows just now, for the question which district it is."""
    name, pair = question.place or ("", 0)
    for board in draft.boards:
        view = ports.views().get(board.port) if board.name == name else None
        for each in () if view is None else view.boards:
            if each.board.identity.number == board.identity.number and pair <= len(each.volts):
                volts, amps = each.volts[pair - 1], each.amps[pair - 1]
                return "" if volts is None or amps is None else f"    now {volts:.1f} V, {amps:.2f} A"
    return ""
