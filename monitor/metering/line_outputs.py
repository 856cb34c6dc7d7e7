"""Which outputs a line board sends, against those that the layout file wants.

A board that counts them from 1 shows every district its neighbour's figures.
"""

import numpy as np
from numpy.typing import NDArray

from monitor.layout import District, Layout
from monitor.metering import thresholds as th
from monitor.metering.metered import Trouble
from monitor.values import FindingKind
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]


class LineOutputs:
    """Watches the outputs of one board, in order; results do not depend on how its readings are cut into blocks."""

    def __init__(self, layout: Layout, board: str) -> None:
        self._board = board
        self._wanted: dict[int, District] = {d.volts_channel // 2: d for d in layout.districts_of_board(board)}
        self._began_s: float | None = None
        self._seen: set[int] = set()
        self._is_settled = False
        self._counts_from_1 = False

    def look(self, outputs: NDArray[np.int64], times_s: Floats) -> list[Trouble]:
        """Outputs of the next readings, and when; what is missing once, as soon as that is sure."""
        if self._is_settled or not len(outputs):
            return []
        if self._began_s is None:
            self._began_s = float(times_s[0])
        late = np.flatnonzero(times_s > self._settled_s)
        early = outputs[: late[0]] if len(late) else outputs
        self._seen |= set(np.unique(early).tolist())
        if not len(late):
            return []
        self._is_settled = True
        missing = sorted(set(self._wanted) - self._seen)
        self._counts_from_1 = 0 in missing and max(self._seen, default=0) == max(self._wanted) + 1
        return [self._trouble(output) for output in missing[: 1 if self._counts_from_1 else None]]

    @property
    def _settled_s(self) -> float:
        return th.SETTLED_AFTER_S + (self._began_s or 0.0)

    def marked(self, good: Bools | None, end_s: Floats, districts: int) -> Bools | None:
        """Which figures of rows are good, where none is whose output is its neighbour's."""
        if not self._counts_from_1 or end_s[-1] <= self._settled_s:
            return good
        marked = np.ones((len(end_s), districts), dtype=bool) if good is None else good.copy()
        marked[end_s > self._settled_s] = False
        return marked

    def _trouble(self, output: int) -> Trouble:
        district, sent = self._wanted[output], ", ".join(map(str, sorted(self._seen)))
        if self._counts_from_1:
            check = (
                f'Board "{self._board}" sends outputs {sent}, and output 0 never comes: does its sketch count them from 1? They count '
                "from 0, so every district shows the figures of its neighbour, and none is right: correct the sketch, or the channels "
                "of the districts."
            )
        else:
            check = (
                f'Board "{self._board}" sends outputs {sent} only, but {district.name} is on output {output} (channels {2 * output} and '
                f"{2 * output + 1}), which never comes: correct the district's channels, or let the sketch send it."
            )
        at_s = self._settled_s
        return Trouble(
            kind=FindingKind.IMPLAUSIBLE, channel=district.volts_channel, start_s=at_s, end_s=at_s, count=1, check=check
        )
