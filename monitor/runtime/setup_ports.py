"""Ports while a layout is being set up: each that is plugged in is opened and listened to, at the usual rates in turn."""

import itertools
import logging
import threading
from collections.abc import Callable, Sequence

from monitor.errors import LinkError
from monitor.link.ports import find_ports
from monitor.runtime.reader import PROBE_S, USUAL_BAUDS, Source
from monitor.setup.port_tap import PortTap, PortView

LOOK_EVERY_S = 1.0
STOP_WITHIN_S = 3.0
PORTS_LIMIT = 32
_log = logging.getLogger(__name__)


class SetupPorts:
    """Listens to every port there is, in a thread each.

    Args:
        source_for: Makes what is read for a port from (port, baud).
        now_s: The host clock.
    """

    def __init__(self, source_for: Callable[[str, int], Source], now_s: Callable[[], float]) -> None:
        self._source_for = source_for
        self._now_s = now_s
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._taps: dict[str, PortTap | str] = {}
        self._names: dict[str, str] = {}
        self._threads: list[threading.Thread] = []
        self._searching: set[str] = set()

    def start(self, only: Sequence[str] | None = None) -> None:
        """Begin to listen, to these ports only where they are given; returns at once."""
        for port in only or ():
            self.add(port, "")
        if not only:
            self._searching.add("")
            self._run(self._look, "ports")

    def is_searching(self) -> bool:
        """Whether a port was not yet tried at every rate, and has not been understood."""
        return bool(self._searching)

    def stop(self) -> None:
        """Give every port back."""
        self._stop.set()
        for thread in self._threads:
            thread.join(STOP_WITHIN_S)

    def add(self, port: str, description: str) -> None:
        """Listen to a port that the system does not list, too."""
        with self._lock:
            if port in self._names or len(self._names) >= PORTS_LIMIT or self._stop.is_set():
                return
            self._names[port], self._taps[port] = description, "Listening."
            self._searching.add(port)
        self._run(lambda: self._listen(port), f"set-up of {port}")

    def views(self) -> dict[str, PortView]:
        """How each port stands."""
        now_s = self._now_s()
        with self._lock:
            return {
                port: PortView(port=port, description=self._names[port], sentence=tap)
                if isinstance(tap, str)
                else tap.view(now_s, self._names[port])
                for port, tap in self._taps.items()
            }

    def _run(self, work: Callable[[], None], name: str) -> None:
        thread = threading.Thread(target=work, name=name, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _look(self) -> None:
        while not self._stop.is_set():
            for found in find_ports():
                self.add(found.device, found.description)
            self._searching.discard("")
            self._stop.wait(LOOK_EVERY_S)

    def _listen(self, port: str) -> None:
        source = self._source_for(port, USUAL_BAUDS[0])
        while not self._stop.is_set():
            try:
                source.open()
                self._listen_at_rates(source, port)
            except LinkError as error:
                self._put(port, f"{str(error)[0].upper()}{str(error)[1:]}.")
            except Exception:  # noqa: BLE001 - whatever it is, the other ports go on
                _log.exception("listening to %s failed", port)
                self._put(port, "Listening failed; the log says why. Plug it in again.")
            finally:
                self._searching.discard(port)
                source.close()
            self._stop.wait(LOOK_EVERY_S)

    def _listen_at_rates(self, source: Source, port: str) -> None:
        for baud in itertools.cycle(USUAL_BAUDS):
            source.set_baud(baud)
            tap, until_s = PortTap(port, baud), self._now_s() + PROBE_S
            while not self._stop.is_set() and (tap.is_understood or tap.is_text or self._now_s() < until_s):
                data = source.read().data
                with self._lock:
                    tap.feed(data, self._now_s())
                if tap.is_understood or tap.is_text:
                    self._put(port, tap)
                    self._searching.discard(port)
            if self._stop.is_set():
                return
            self._put(port, f"Nothing that makes sense at {baud} baud yet; trying the next.")
            if baud == USUAL_BAUDS[-1]:
                self._searching.discard(port)

    def _put(self, port: str, tap: PortTap | str) -> None:
        with self._lock:
            self._taps[port] = tap
