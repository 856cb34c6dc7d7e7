"""The publishing of a watch, where a broker is given."""

import argparse
import contextlib
from collections.abc import Iterator

from monitor.bus.broker import escaped, is_name
from monitor.bus.outbox import Outbox
from monitor.bus.publish import Publisher
from monitor.cli.broker_options import broker_of
from monitor.errors import BusError
from monitor.layout import Layout
from monitor.link import HostClock
from monitor.runtime.supervision import SupervisedThread

STOP_WITHIN_S = 4.0


@contextlib.contextmanager
def publishing(layout: Layout, args: argparse.Namespace, clock: HostClock) -> Iterator[Publisher]:
    """Publish what a watch takes while this lasts.

    Raises:
        BusError: The broker's address or the outbox cannot be used. That the broker is away is no error.
    """
    broker, station = broker_of(args), args.station or layout.title
    if not is_name(station):
        raise BusError(f"{station!r} cannot be a station's name: take 1 to 80 printable characters, at most 200 once escaped")
    outbox = Outbox(args.outbox / escaped(broker.hall) / f"{escaped(station)}.sqlite")
    publisher = Publisher(layout, broker, station, outbox=outbox, began_unix_s=clock.began_at.timestamp(), now_s=clock.now_s)
    if args.single_figures:
        publisher.add_single_figures()
    thread = SupervisedThread("publisher", publisher.work)
    thread.start()
    try:
        yield publisher
    finally:
        thread.ask_to_stop()
        if thread.join(STOP_WITHIN_S):
            outbox.close()
