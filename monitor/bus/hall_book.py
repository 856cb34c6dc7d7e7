"""The hall's book: everything that stations say, as it stands now; plain state, no threads, no clock."""

import math

import numpy as np

from monitor.bus.hall_station import HallStation
from monitor.bus.hall_values import StationView
from monitor.bus.payloads import GRID_S, Acknowledgement, Readings, Received
from monitor.values import Identity, LineReadings
from monitor.wire import LineDecoder

_BOOT = "0" * 16
"""A board has no starts that we could tell apart."""


class BoardLines:
    """Decodes one board's lines."""

    def __init__(self) -> None:
        self._decoder = LineDecoder()
        self._seq = 0
        self.faults = 0

    def take(self, payload: bytes, now_unix_s: float) -> Readings | None:
        """The last reading of each output in a message of whole lines, in the form of a station; None where there is none.

        Args:
            payload: Lines, the last one with or without its end.
            now_unix_s: When they came; the board's own time says nothing of the hall's.
        """
        rows: dict[int, tuple[float, float, float]] = {}
        for item in self._decoder.feed(payload if payload.endswith(b"\n") else payload + b"\n"):
            if isinstance(item, LineReadings):
                figures = (item.outputs.tolist(), item.volts_rms.tolist(), item.amps_rms.tolist(), item.watts.tolist())
                rows.update((output, (volts, amps, watts)) for output, volts, amps, watts in zip(*figures, strict=True))
            elif not isinstance(item, Identity):
                self.faults += 1
        if not rows:
            return None
        self._seq += 1
        outputs = sorted(rows)
        volts, amps, watts = (tuple((_figure(rows[output][k]),) for output in outputs) for k in range(3))
        return Readings(
            boot=_BOOT,
            seq=self._seq,
            made_unix_s=now_unix_s,
            began_unix_s=now_unix_s - GRID_S,
            first=0,
            rows=1,
            districts=tuple(f"output {output}" for output in outputs),
            volts=volts,
            amps=amps,
            amps_highest=amps,
            watts=watts,
        )


def _figure(value: float) -> float | None:
    return round(float(np.clip(value, -1e6, 1e6)), 3) if math.isfinite(value) else None


STATIONS_LIMIT = 20_000
FORGET_AFTER_S = 86_400.0
"""Who said nothing for a day is no longer of this hall."""
_FORGET_EVERY_S = 60.0


class HallBook:
    """Takes decoded messages, gives views.

    All times are Unix seconds of one clock that does not step, the reader's own.
    """

    def __init__(self) -> None:
        self._stations: dict[tuple[str, str], HallStation] = {}
        self._boards: dict[tuple[str, str], BoardLines] = {}
        self._forgot_unix_s = 0.0
        self.refused = 0

    def take(self, received: Received, now_unix_s: float) -> None:
        """Take a message.

        Args:
            received: As :func:`monitor.bus.payloads.decode` gave it.
            now_unix_s: When it came.
        """
        self._forget(now_unix_s)
        key = (received.address.hall, received.address.station)
        body = received.body
        if isinstance(body, Acknowledgement):
            return
        station = self._stations.get(key)
        if station is None and len(self._stations) >= STATIONS_LIMIT:
            self.refused += 1
            return
        is_board = isinstance(body, bytes)
        if station is None:
            station = self._stations[key] = HallStation(*key, since_unix_s=now_unix_s, is_board=is_board)
        if station.is_board != is_board:
            return  # one name is one thing: what was first keeps it
        if isinstance(body, bytes):
            made = self._boards.setdefault(key, BoardLines()).take(body, now_unix_s)
            if made is None:
                return
            body = made
        station.take(body, now_unix_s, retained=received.retained)

    def stations(self, now_unix_s: float, hall: str | None = None) -> tuple[StationView, ...]:
        """Every station, worst first; ``recent`` is left empty.

        Args:
            now_unix_s: Now.
            hall: Of one hall; None for all.
        """
        views = (station.view(now_unix_s) for key, station in self._stations.items() if hall in (None, key[0]))
        return tuple(sorted(views, key=lambda view: view.rank))

    def station(self, hall: str, name: str, now_unix_s: float) -> StationView | None:
        """One station, with ``recent``; None where it is not known."""
        station = self._stations.get((hall, name))
        return None if station is None else station.view(now_unix_s, with_recent=True)

    def _forget(self, now_unix_s: float) -> None:
        if now_unix_s - self._forgot_unix_s < _FORGET_EVERY_S:
            return
        self._forgot_unix_s = now_unix_s
        for key, station in list(self._stations.items()):
            if now_unix_s - station.quiet_since_unix_s() > FORGET_AFTER_S:
                del self._stations[key]
                self._boards.pop(key, None)
