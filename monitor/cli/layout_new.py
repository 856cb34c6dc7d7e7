"""``pilotlamp layout new``: listens to what is plugged in, asks, writes the layout file."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

from monitor.errors import LayoutError, LinkError
from monitor.layout.wizard import PluggedBoard, Wizard
from monitor.layout.write import write_layout
from monitor.link import HostClock, SerialSource, find_ports
from monitor.link.listen import Heard, listen
from monitor.runtime.reader import USUAL_BAUDS


def run(args: argparse.Namespace) -> int:
    """Listen, ask, write."""
    path: Path = args.file
    if path.exists():
        raise LayoutError("this file is there already and stays as it is: give another name", source=str(path))
    plugged = list(_plugged(args.port))
    if not plugged:
        print("No board was heard. The file will have a place for one: plug it in later and write its port there.")
    try:
        draft = Wizard(input, print).run(plugged)
    except (EOFError, KeyboardInterrupt) as error:
        print()
        raise LayoutError("the answers ended before the questions: nothing was written", source=str(path)) from error
    write_layout(path, draft.text())
    print(f"Wrote {path}. Next: pilotlamp bench {path} --ask (is each supply fit to be used?), then pilotlamp watch {path}")
    return 0


def _plugged(ports: Sequence[str] | None) -> Iterator[PluggedBoard]:
    """Boards heard on the given ports, or on all that are there."""
    for port in ports or [found.device for found in find_ports()]:
        print(f"Listening to {port} ...", flush=True)
        try:
            heard = _listen_at(port)
        except LinkError as error:
            print(f"  {error}")
            continue
        if heard is None:
            print("  nothing that a sensor board would say")
            continue
        for identity in heard.boards:
            print(f'  board "{identity.name}", {len(identity.channels)} channels, {identity.form} form, {heard.baud} baud')
            yield PluggedBoard(port=port, baud=heard.baud, identity=identity)


def _listen_at(port: str) -> Heard | None:
    clock = HostClock()
    source = SerialSource(port, USUAL_BAUDS[0], clock)
    source.open()
    try:
        return listen(source, USUAL_BAUDS, clock.now_s)
    finally:
        source.close()
