"""What is wrong with the sensing, gathered so that a burst of trouble is one finding and not a thousand."""

from collections.abc import Iterator

from monitor.metering import Trouble
from monitor.runtime.stream_clock import StreamClock, span_in_stream
from monitor.values import Finding, FindingKind

MERGE_WITHIN_S = 5.0
"""Trouble of the same kind that comes again within this time is the same finding."""

CHECKS = {
    FindingKind.GAP: "Scans are missing: check the cable and the hub, and that the computer is not overloaded.",
    FindingKind.RESTART: "The board restarted: check its USB plug and its own supply.",
    FindingKind.BROWN_OUT: "The board's own supply fell too low: give it a better USB port, cable or hub with its own supply.",
    FindingKind.DAMAGED_BYTES: "Bytes were damaged on the way: shorten the cable, keep it off track wiring, check the baud.",
    FindingKind.SUPPLY_LOW: "The board's own supply sags, and with it every reading: give it a better USB port, cable or hub with "
    "its own supply, and take nothing else from its supply pins.",
    FindingKind.SUPPLY_WANDERS: "The board's own supply is not what it was, and moves its figures: run 'pilotlamp calibrate', which keeps it "
    "in the layout file so that volts are corrected, say there with current_sensors how the sensors follow it, and give the board a port "
    "of its own.",
    FindingKind.DROPPED_SCANS: "The board could not send all it measured: raise the baud in its sketch, or give it fewer channels.",
    FindingKind.OTHER_VERSION: "The board sends another version of the packed form: update its sketch or this program.",
}


class FindingBook:
    """Findings of one board.

    Args:
        board: The board's name.
        ids: Where new ids come from, shared by the whole stream.
    """

    def __init__(self, board: str, ids: Iterator[int]) -> None:
        self._board = board
        self._ids = ids
        self._latest: dict[tuple[FindingKind, int | None], Finding] = {}
        self._waiting: list[Trouble] = []

    def add(self, *troubles: Trouble) -> None:
        """Take trouble in board time."""
        self._waiting += troubles

    def drain(self, clock: StreamClock) -> list[Finding]:
        """Findings that changed: board times become stream times once the clock has seen the bytes that they came with."""
        waiting, self._waiting = self._waiting, []
        found = [self.note(span_in_stream(clock, trouble)) for trouble in waiting]
        return list({finding.id: finding for finding in found}.values())

    def note(self, trouble: Trouble) -> Finding:
        """Note trouble; merges with the same kind of the same channel shortly before.

        Returns:
            The finding as it now stands.
        """
        key = (trouble.kind, trouble.channel)
        before = self._latest.get(key)
        if before is not None and before.end_s is not None and trouble.start_s - before.end_s > MERGE_WITHIN_S:
            before = None
        finding = Finding(
            id=next(self._ids) if before is None else before.id,
            board=self._board,
            channel=trouble.channel,
            kind=trouble.kind,
            start_s=trouble.start_s if before is None else before.start_s,
            end_s=trouble.end_s,
            count=trouble.count + (0 if before is None else before.count),
            check=trouble.check or CHECKS[trouble.kind],
        )
        self._latest[key] = finding
        return finding
