"""``pilotlamp hall``: the page of a whole hall, from what its stations tell a broker."""

import argparse
import signal
import threading
import time
from types import FrameType

from monitor.bus.hall_listener import HallListener
from monitor.cli.broker_options import add_broker, broker_of
from monitor.cli.page import configure_looking, shown_hall
from monitor.link import HostClock
from monitor.runtime.supervision import SupervisedThread

ALL_HALLS = "all halls"
SAY_EVERY_S = 0.2
STOP_WITHIN_S = 4.0


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_broker(parser, required=True)
    configure_looking(parser)
    parser.add_argument("--seconds", type=float, metavar="N", help="end after N seconds")


def run(args: argparse.Namespace) -> int:
    """Show the hall until a signal comes or the time is up."""
    broker, clock = broker_of(args, with_hall=False), HostClock()
    began_unix_s = clock.began_at.timestamp()
    hall = HallListener(broker, unix_now=lambda: began_unix_s + clock.now_s())
    thread = SupervisedThread("hall", hall.work)
    thread.start()
    try:
        with shown_hall(hall, broker.hall or ALL_HALLS, args):
            print(f"Listening to {broker.hall or ALL_HALLS} at {broker.place}; Ctrl-C ends it.", flush=True)
            _say_until_ended(hall, args.seconds)
    finally:
        thread.ask_to_stop()
        thread.join(STOP_WITHIN_S)
    return 0


def _say_until_ended(hall: HallListener, seconds: float | None) -> None:
    ended = threading.Event()

    def end(number: int, frame: FrameType | None) -> None:
        del number, frame
        ended.set()

    handlers = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    ends_s = None if seconds is None else time.monotonic() + seconds
    said: str | None = None
    try:
        while not ended.wait(SAY_EVERY_S) and (ends_s is None or time.monotonic() < ends_s):
            if hall.sentence != said:
                said = hall.sentence
                print(said or "The hall is heard.", flush=True)
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)
