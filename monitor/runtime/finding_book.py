"""What is wrong with the sensing, gathered so that a burst of trouble is one finding and not a thousand."""

from collections.abc import Iterator

from monitor.values import Finding, FindingKind

MERGE_WITHIN_S = 5.0
"""Trouble of the same kind that comes again within this time is the same finding."""

CHECKS = {
    FindingKind.GAP: "Scans are missing: check the cable and the hub, and that the computer is not overloaded.",
    FindingKind.RESTART: "The board started anew: check its USB plug and its own supply.",
    FindingKind.BROWN_OUT: "The board's own supply fell too low: give it a better USB port, cable or hub with its own supply.",
    FindingKind.DAMAGED_BYTES: "Bytes were damaged on the way: shorten the cable, keep it off track wiring, check the baud.",
    FindingKind.OTHER_VERSION: "The board speaks another version of the packed form: update its sketch or this program.",
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

    def note(
        self,
        kind: FindingKind,
        start_s: float,
        end_s: float,
        count: int,
        channel: int | None = None,
    ) -> Finding:
        """Note trouble; merges with the same kind shortly before.

        Returns:
            The finding as it now stands.
        """
        before = self._latest.get((kind, channel))
        merged = before is not None and before.end_s is not None and start_s - before.end_s <= MERGE_WITHIN_S
        finding = Finding(
            id=before.id if before is not None and merged else next(self._ids),
            board=self._board,
            channel=channel,
            kind=kind,
            start_s=before.start_s if before is not None and merged else start_s,
            end_s=end_s,
            count=count + (before.count if before is not None and merged else 0),
            check=CHECKS[kind],
        )
        self._latest[kind, channel] = finding
        return finding
