"""``pilotlamp hall``: the page of a whole hall, from what its stations tell a broker; ``hall setup`` makes a broker ready for one."""

import argparse
import shlex
import socket
from pathlib import Path

from monitor.bus.broker import escaped
from monitor.bus.hall_listener import HallListener
from monitor.cli.broker_options import add_broker, broker_of
from monitor.cli.page import configure_looking, shown_hall
from monitor.cli.signals import print_until_ended
from monitor.errors import BusError
from monitor.link import HostClock
from monitor.runtime.supervision import SupervisedThread

ALL_HALLS = "all halls"
SETUP = "Makes a broker ready for a hall: writes everything it needs, and says which two commands to run there."
STOP_WITHIN_S = 4.0


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_broker(parser, required=False)
    configure_looking(parser)
    parser.add_argument("--seconds", type=float, metavar="N", help="end after N seconds")
    setup = parser.add_subparsers(dest="what", metavar="setup", required=False).add_parser(
        "setup", help="write certificates, passwords, access list and configuration for a broker", description=SETUP
    )
    setup.add_argument("folder", type=Path, metavar="DIR", help="where to write it all; keep it, to add stations later")
    setup.add_argument("--hall", required=True, metavar="NAME", help="the hall's name")
    setup.add_argument(
        "--station", action="append", required=True, metavar="NAME", help="a station's name (its layout's title); again for each"
    )
    setup.add_argument(
        "--host",
        action="append",
        metavar="HOST",
        help="the broker's name or address in the network; again for others (this one's)",
    )


def run(args: argparse.Namespace) -> int:
    """Show the hall until a signal comes or the time is up."""
    if args.what == "setup":
        return _set_up(args)
    if args.broker is None:
        raise BusError("no broker is given: --broker mqtts://HOST/HALL, or make one ready with 'pilotlamp hall setup DIR'")
    broker, clock = broker_of(args, with_hall=False), HostClock()
    began_unix_s = clock.began_at.timestamp()
    hall = HallListener(broker, unix_now=lambda: began_unix_s + clock.now_s())
    thread = SupervisedThread("hall", hall.work)
    thread.start()
    try:
        with shown_hall(hall, broker.hall or ALL_HALLS, args):
            print(f"Listening to {broker.hall or ALL_HALLS} at {broker.place}; Ctrl-C ends it.", flush=True)
            print_until_ended(lambda: hall.sentence or "The broker answers.", args.seconds)
    finally:
        thread.ask_to_stop()
        thread.join(STOP_WITHIN_S)
    return 0


def _set_up(args: argparse.Namespace) -> int:
    from monitor.bus.hall_setup import AT, HallPlan, set_up_hall  # noqa: PLC0415 - start-up time of the page

    name = socket.gethostname().lower()
    hosts = args.host or [f"{name}.local", name, "localhost", "127.0.0.1"]
    settings = set_up_hall(args.folder, HallPlan(hosts=hosts, halls={args.hall: args.station}))
    folder, address = args.folder.resolve(), f"mqtts://{hosts[0]}/{escaped(args.hall)}"
    print(f"Written to {folder}. On the broker's computer, with Debian's package mosquitto, run:\n")
    print(f"  sudo cp -r {shlex.quote(str(folder / 'mosquitto'))}/. /etc/mosquitto/ && sudo chown -R root:mosquitto {AT}")
    print("  sudo systemctl restart mosquitto\n")
    print(f"Give each of these files, with {folder / 'users' / 'ca.crt'}, to its own computer; it holds a password. There:\n")
    for path, station in zip(settings, [None, None, *args.station], strict=True):
        does = (
            f"pilotlamp watch LAYOUT.toml --broker {address} --station {shlex.quote(station)}"
            if station
            else (f"pilotlamp {path.stem.replace('collector', 'collect --into DIR')} --broker {address}")
        )
        print(f"  set -a; . ./{path.name}; {does}")
    print(f"\nTry it from a station: pilotlamp doctor --broker {address} --station NAME")
    return 0
