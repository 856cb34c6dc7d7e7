"""Figures one by one, for programs that take one value a topic: opt-in, beside the messages in blocks."""

import math
from collections.abc import Sequence

import msgspec

from monitor.bus.broker import escaped
from monitor.bus.connection import Connection
from monitor.bus.grid import Row
from monitor.layout import Layout
from monitor.values import SupplyLoad

EVERY_ROWS = 2
"""Of half seconds: once a second."""
EXPIRES_S = 10
"""A figure that no one fetched within this is of no use as a present one."""
OF_DISTRICTS = {
    "volts_rms": ("V", "RMS volts over half a second"),
    "amps_rms": ("A", "RMS amps over half a second"),
    "amps_highest": ("A", "highest one-cycle RMS amps in half a second"),
    "watts": ("W", "mean real power over half a second"),
    "doubtful": ("1", "1 where a sensor is known to be wrong, and the figures are not to be relied on; else 0"),
    "clipped": ("1", "1 where a sensor's range ended, and volts or amps, and watts with them, are lower bounds; else 0"),
}
OF_SUPPLIES = {"va": ("VA", "volt-amperes"), "limit_share": ("1", "share of the tightest limit; 1 is at the limit")}


class SingleFigures:
    """Publishes the figures of the present.

    Args:
        layout: Whose.
        base: What all topics begin with.
    """

    def __init__(self, layout: Layout, base: str) -> None:
        self._layout, self._base = layout, base
        self._found: list[tuple[str, float | None]] = []

    def take(self, row: Row, loads: Sequence[SupplyLoad]) -> None:
        """Take a row of the grid and the supplies as they stand; what was not sent of the row before is late, and left out."""
        if row.number % EVERY_ROWS:
            return
        columns = (row.volts, row.amps, row.amps_highest, row.watts, row.doubtful, row.clipped)
        self._found = [
            (f"district/{escaped(name)}/{figure}", float(value))
            for figure, values in zip(OF_DISTRICTS, columns, strict=True)
            for name, value in zip(row.districts, values, strict=True)
        ]
        for load in loads:
            of_supply = zip(OF_SUPPLIES, (load.va, load.headroom.share), strict=True)
            self._found += [(f"supply/{escaped(load.name)}/{figure}", value) for figure, value in of_supply]

    def send(self, connection: Connection) -> None:
        """Send what was taken; nothing of what is not measured.

        Raises:
            BusError: The connection is lost.
        """
        found, self._found = self._found, []
        for topic, value in found:
            if value is not None and math.isfinite(value):
                connection.publish(f"{self._base}/{topic}", f"{value:.3f}".encode(), expires_s=EXPIRES_S)

    def describe(self, connection: Connection) -> None:
        """Say what comes under which topic: a JSON list, retained at ``.../figures/about``.

        Raises:
            BusError: The connection is lost.
        """
        found = [
            {
                "topic": f"{self._base}/{kind}/{escaped(row.name)}/{figure}",
                "of": kind,
                "name": row.name,
                "unit": unit,
                "meaning": meaning,
            }
            for kind, rows, figures in (
                ("district", self._layout.district, OF_DISTRICTS),
                ("supply", self._layout.supply, OF_SUPPLIES),
            )
            for row in rows
            for figure, (unit, meaning) in figures.items()
        ]
        connection.publish(f"{self._base}/about", msgspec.json.encode(found), retain=True)
