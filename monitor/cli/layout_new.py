"""``pilotlamp layout new``: listens to what is plugged in, asks, writes the layout file."""

import argparse
import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path

from monitor.errors import LayoutError, LinkError
from monitor.layout.edit import write_layout
from monitor.link import HostClock, SerialSource, find_ports
from monitor.link.listen import Heard, listen
from monitor.runtime.reader import USUAL_BAUDS
from monitor.setup.draft import FoundBoard, check_folder, draft_path, keep_draft, load_draft
from monitor.setup.first_setup import FirstSetup
from monitor.setup.terminal import TerminalInterview
from monitor.values import Identity
from monitor.wire.line_guess import guess_mapping
from monitor.wire.reading_lines import line_channels


def run(args: argparse.Namespace) -> int:
    """Listen, ask, write."""
    path: Path = args.file
    if path.exists():
        raise LayoutError("this file is there already and stays as it is: give another name", source=str(path))
    check_folder(path)  # told before the first question
    draft = load_draft(path)
    if draft.answers:
        print(f"Going on with what was typed before (delete {draft_path(path)} to begin again).")
    draft = draft.with_boards(_plugged(args.port))
    if not draft.boards:
        print("No board was heard. The file will have a place for one: plug it in later and write its port there.")
    print("Return takes what stands in brackets; 'back' goes to the question before; Ctrl-C keeps what was typed.")
    interview = TerminalInterview(input, print, lambda changed: keep_draft(path, changed))
    try:
        draft = interview.run(draft, lambda changed: FirstSetup(changed).walk)
    except (EOFError, KeyboardInterrupt) as error:
        print()
        raise LayoutError(
            "the answers ended before the questions: no layout was written; what was typed is kept, and the same command goes on with it",
            source=str(path),
        ) from error
    write_layout(path, FirstSetup(draft).text(dt.datetime.now().astimezone().date()))
    draft_path(path).unlink(missing_ok=True)
    print(f"Wrote {path}. Next: pilotlamp bench {path} --ask (is each supply fit to be used?), then pilotlamp watch {path}")
    return 0


def _plugged(ports: Sequence[str] | None) -> Iterator[FoundBoard]:
    """Boards heard on the given ports, or on all that are there."""
    for port in ports or [found.device for found in find_ports()]:
        print(f"Listening to {port} ...", flush=True)
        try:
            heard = _listen_at(port)
        except LinkError as error:
            print(f"  {error}")
            continue
        boards = [] if heard is None else list(found_boards(port, heard))
        if not boards:
            print("  nothing that a sensor board would say")
        for board in boards:
            identity = board.identity
            print(f'  board "{identity.name}", {len(identity.channels)} channels, {identity.form} form, {board.baud} baud')
            yield board


def found_boards(port: str, heard: Heard) -> Iterator[FoundBoard]:
    """Boards of a port; lines of a sketch's own count where a mapping can be guessed."""
    for identity in heard.boards:
        yield FoundBoard(name=identity.name, port=port, baud=heard.baud, identity=identity)
    if heard.form is None and heard.seen.look == "text":
        guess = guess_mapping(heard.seen.lines)
        if guess is not None:
            identity = Identity(
                number=0, name="", scan_interval_s=0.1, channels=line_channels(len(guess.lines.output)), form="lines"
            )
            yield FoundBoard(name="", port=port, baud=heard.baud, identity=identity, lines=guess.lines)


def _listen_at(port: str) -> Heard | None:
    clock = HostClock()
    source = SerialSource(port, USUAL_BAUDS[0], clock)
    source.open()
    try:
        return listen(source, USUAL_BAUDS, clock.now_s, text_too=True)
    finally:
        source.close()
