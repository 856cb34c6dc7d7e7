"""Lines of a board on the network that no station takes in: its latest readings, as they are."""

import math

import numpy as np

from monitor.bus.payloads import GRID_S, Readings
from monitor.values import Identity, LineReadings
from monitor.wire import LineDecoder

_BOOT = "0" * 16
"""A board has no starts that we could tell apart."""


class BoardLines:
    """Decodes one board's lines.

    Attributes:
        faults: Lines that were damaged.
    """

    def __init__(self) -> None:
        self._decoder = LineDecoder()
        self._seq = 0
        self.faults = 0

    def take(self, payload: bytes, now_unix_s: float) -> Readings | None:
        """The last reading of each output in a message of whole lines, as if a station told it; None where there is none.

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
            doubtful=(),
        )


def _figure(value: float) -> float | None:
    return round(float(np.clip(value, -1e6, 1e6)), 3) if math.isfinite(value) else None
