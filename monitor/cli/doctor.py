"""``pilotlamp doctor``: can this computer do the job, and if not, what to do? The page is opened for a moment and asked as by a browser."""

import argparse
import http.client
import os
import socket
import ssl
import stat
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from monitor.app import Watch, port_source, with_ports
from monitor.cli.broker_options import add_broker, broker_of
from monitor.cli.page import ServedPage, configure_looking, opened_page
from monitor.errors import BusError, PageError
from monitor.layout import Board, Layout, load_layout, parse_layout
from monitor.link import HostClock
from monitor.link.listen import PortCapture, PortListener
from monitor.rehearsal import demo_layout_text
from monitor.runtime.checkup import Check, as_sentence, check_computer

LIMIT_S = 20.0
ENDS_SOON = timedelta(days=14)
NOWHERE = "loop://"


def try_page(args: argparse.Namespace, layout: Layout | None) -> Iterator[Check]:
    """What came of opening the page with these arguments and asking for it; without a layout it shows the demonstration's."""
    shown = layout or parse_layout(demo_layout_text(NOWHERE), source="the demo's layout")
    watch = Watch(with_ports(shown, {board.name: NOWHERE for board in shown.board}))  # never started: no port is touched
    try:
        page = opened_page(watch, args)
    except PageError as error:
        problem, _, remedy = str(error).partition(": ")
        yield Check(name="page", good=False, found=as_sentence(problem), remedy=as_sentence(remedy))
        return
    page.start()
    try:
        yield _answer("page", page.address, page)
        if args.share:
            name = socket.gethostname().lower()
            port = urlsplit(page.address).port
            scheme = urlsplit(page.address).scheme
            yield Check(
                name="other devices",
                good=True,
                found=f"They ask for {page.address} or, where names work, {scheme}://{name}.local:{port}/.",
                remedy="Try it once with each; where nothing comes, let this port through the computer's firewall.",
            )
        yield _encryption(page, shared=args.share)
        if args.key is not None:
            yield _key_rights(args.key)
    finally:
        page.close()


def _answer(name: str, address: str, page: ServedPage) -> Check:
    where = urlsplit(address)
    try:
        status = _ask(where.hostname or "", where.port or 0, encrypted=page.fingerprint is not None)
    except OSError as error:
        remedy = "Something between (a firewall, a proxy of the system) keeps programs of this computer from it: let it through."
        return Check(name=name, good=False, found=f"{address} was opened but does not answer ({error}).", remedy=remedy)
    found = f"A browser that asks for {address} gets the page."
    return Check(name=name, good=status == 200, found=found if status == 200 else f"{address} answers with status {status}.")


def _ask(host: str, port: int, *, encrypted: bool) -> int:
    line: http.client.HTTPConnection
    if encrypted:
        trusting = ssl.create_default_context()
        trusting.check_hostname, trusting.verify_mode = False, ssl.CERT_NONE  # who it is stands in the fingerprint
        line = http.client.HTTPSConnection(host, port, timeout=LIMIT_S, context=trusting)
    else:
        line = http.client.HTTPConnection(host, port, timeout=LIMIT_S)
    try:
        line.request("GET", "/")
        return line.getresponse().status
    finally:
        line.close()


def _encryption(page: ServedPage, *, shared: bool) -> Check:
    if page.certificate_ends_at is not None:
        left = page.certificate_ends_at - datetime.now(tz=UTC)
        good = left > ENDS_SOON
        remedy = "" if good else "Get a new certificate in time; browsers refuse one that has ended."
        return Check(
            name="encryption",
            good=good,
            found=f"On, with a certificate until {page.certificate_ends_at:%Y-%m-%d}.",
            remedy=remedy,
        )
    found = (
        "Off: others in the same network can read along, the passphrase too."
        if shared
        else "Off; the page stays on this computer."
    )
    return Check(name="encryption", good=True, found=found, remedy="Add --tls to encrypt it." if shared else "")


def _key_rights(key: Path) -> Check:
    # Systems without such rights show a file as readable by all: nothing can be said there.
    may_others = os.name == "posix" and bool(key.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))
    found = f"{key} can be read by others." if may_others else f"{key} is its owner's alone."
    return Check(name="key", good=not may_others, found=found, remedy=f"Keep it from them: chmod 600 {key}" if may_others else "")


if TYPE_CHECKING:
    from monitor.bus.broker import Broker
    from monitor.bus.connection import Outcome

LISTEN_S = 3.0
"""Long enough for two identities, which come once a second."""


ANSWERS_WITHIN_S = 5.0
TRY = "try"
"""A topic that no one listens to."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, nargs="?", metavar="LAYOUT.toml", help="look at its boards' ports too")
    parser.add_argument("--recordings", type=Path, default=Path("recordings"), metavar="DIR", help="where sessions are kept")
    add_broker(parser, required=False)
    parser.add_argument("--station", metavar="NAME", help="this station's name in the hall (default: the layout's title)")
    configure_looking(parser)


def run(args: argparse.Namespace) -> int:
    """Print each check; 1 where something needs doing."""
    layout = None if args.layout is None else load_layout(args.layout)
    if layout is not None and layout.board:
        print(f"Listening {LISTEN_S:g} s at each port ...", flush=True)

    def listen_at(board: Board) -> PortCapture:
        clock = HostClock()
        source = port_source(board.port or "", board.baud, clock)
        source.open()
        try:
            line_board = layout.line_board(board.port or "") if layout else None
            return PortListener(source, clock.now_s, board.baud, line_board).capture(LISTEN_S)
        finally:
            source.close()

    checks = []
    station = args.station or (layout.title if layout else "")
    broker = () if args.broker is None else try_broker(broker_of(args), station)
    for check in (*check_computer(args.recordings, layout, listen_at), *try_page(args, layout), *broker):
        checks.append(check)
        print(f"{'good' if check.good else 'LOOK':6}{check.name:26}{check.found}")
        if check.remedy:
            print(f"{'':32}{check.remedy}")
    return 0 if all(check.good for check in checks) else 1


def try_broker(broker: "Broker", station: str) -> Iterator[Check]:
    """Connect as a station, write what it may and what it may not, and read what it has to. Nothing is left behind."""
    from monitor.bus.broker import ROOT, Address, escaped  # noqa: PLC0415 - start-up time where no broker is tried
    from monitor.bus.connection import Outcome  # noqa: PLC0415

    if not station:
        yield Check(name="hall", good=False, found="No station's name was given.", remedy="Add --station NAME.")
        return
    own, other = (f"{ROOT}/{escaped(broker.hall)}/{escaped(name)}/{TRY}" for name in (station, f"not {station}"[:80]))
    try:
        trouble, (ours, theirs) = _tried(broker, Address(hall=broker.hall, station=station, kind="kept").topic, (own, other))
    except BusError as error:
        problem, _, remedy = str(error).partition(": ")
        yield Check(name="hall", good=False, found=as_sentence(problem), remedy=as_sentence(remedy))
        return
    good = ours in (Outcome.TAKEN, Outcome.NO_SUBSCRIBER) and not trouble
    why = trouble or f"the broker refuses what {station} sends to {own}"
    yield Check(
        name="hall",
        good=good,
        found=f"{broker.place} takes what {station} sends." if good else as_sentence(why),
        remedy="" if good else "User, station and hall have to be those that 'pilotlamp hall setup' was given.",
    )
    alone = theirs is Outcome.REFUSED
    yield Check(
        name="access list",
        good=alone,
        found="It keeps this user from other stations' topics." if alone else "This user may write in other stations' names.",
        remedy="" if alone else "Use the access list that 'pilotlamp hall setup' writes.",
    )


def _tried(broker: "Broker", reads: str, writes: tuple[str, str]) -> tuple[str, list["Outcome | None"]]:
    """What the broker refuses of reading, and what it says to each writing."""
    from monitor.bus.connection import Connection, Outcome, Session  # noqa: PLC0415 - as above

    outcomes: dict[int, Outcome] = {}
    connection = Connection(broker, Session(client_id="", filters=(reads,)), outcomes.__setitem__)
    connection.connect()
    numbers = [connection.publish(topic, b"") for topic in writes]
    ends_s = time.monotonic() + ANSWERS_WITHIN_S
    while len(outcomes) < len(writes) and time.monotonic() < ends_s:
        connection.wait(0.05)
    connection.close()
    return connection.trouble, [outcomes.get(number) for number in numbers]
