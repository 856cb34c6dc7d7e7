"""``pilotlamp collect``: one of any number of collectors that keep what all stations say."""

import argparse
import logging
import re
import socket
from pathlib import Path

from monitor.bus.collect import Collector, CollectorOptions
from monitor.cli.broker_options import add_broker, broker_of
from monitor.cli.signals import print_until_ended
from monitor.link import HostClock
from monitor.runtime.supervision import SupervisedThread

STOP_WITHIN_S = 60.0


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_broker(parser, required=True)
    parser.add_argument("--into", type=Path, required=True, metavar="DIR", help="folder of the tables, shared by all collectors")
    parser.add_argument(
        "--name",
        type=_name,
        default=_own_name(),
        metavar="NAME",
        help="each collector has its own; keep it over restarts (%(default)s)",
    )
    parser.add_argument("--every", type=float, default=30.0, metavar="S", help="seconds between files (%(default)s)")
    parser.add_argument("--seconds", type=float, metavar="N", help="end after N seconds")


def run(args: argparse.Namespace) -> int:
    """Collect until a signal or until the time is up."""
    logging.basicConfig(format="%(asctime)s %(levelname)s %(message)s", level=logging.INFO)
    broker, clock = broker_of(args, with_hall=False), HostClock()
    options = CollectorOptions(into=args.into, name=args.name, every_s=max(0.2, args.every))
    collector = Collector(broker, options, unix_now=lambda: clock.wall_time(clock.now_s()).timestamp())
    thread = SupervisedThread("collector", collector.work)
    thread.start()
    print(f"Collecting from {broker.place} into {args.into}; Ctrl-C ends it.", flush=True)
    print_until_ended(lambda: collector.sentence, args.seconds)
    thread.ask_to_stop()
    if not thread.join(STOP_WITHIN_S):
        print(
            f"what was taken in could not be written within {STOP_WITHIN_S:.0f} s; it lies in the spool and is written next time"
        )
    print(", ".join(f"{count} {kind}" for kind, count in sorted(collector.counts.items())) or "nothing came", flush=True)
    return 0


def _own_name() -> str:
    return re.sub(r"[^A-Za-z0-9_.]", "_", socket.gethostname())[:40] or "collector"


def _name(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9_.]{1,40}", text) or text.startswith("."):
        raise argparse.ArgumentTypeError(f"{text!r} cannot be a collector's name: take up to 40 letters, digits and underscores")
    return text
