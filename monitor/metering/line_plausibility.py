"""Figures of a line board that cannot be: a scale in its sketch that is wrong must never look like a short.

Limits (a figure beyond is left out):

- volts above :data:`VOLTS_LIMIT` times the supply's highest: no load, no throttle lifts a supply so far;
- amps above :data:`AMPS_LIMIT`, or volt-amperes above :data:`VA_LIMIT` times the plate: a source that regulates to 3 % between no load
  and its rating gives 1 / (4 x 0.03), some 8 times it, at most, and far less in a short (maximum power transfer);
- a negative RMS on an AC supply; on a DC supply the sign is the direction of travel, and the size counts.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np

from monitor.layout import District, Layout
from monitor.metering import thresholds as th
from monitor.metering.metered import Trouble
from monitor.values import FindingKind
from monitor.values.arrays import Bools, Floats


@dataclass(slots=True, kw_only=True)
class Judged:
    """Rows after the look.

    Attributes:
        figures: Shape (2, rows, districts): volts and amps; NaN where they cannot be.
        good: Shape (rows, districts); None where nothing is known against any.
        amps_clipped: Shape (rows, districts); None where none is.
        troubles: What is wrong.
    """

    figures: Floats
    good: Bools | None
    amps_clipped: Bools | None
    troubles: list[Trouble]


class LinePlausibility:
    """Judges the rows of one board in order; results do not depend on how they are cut into blocks."""

    def __init__(self, layout: Layout, board: str) -> None:
        self._districts = layout.districts_of_board(board)
        mapping = next((each.lines for each in layout.board if each.name == board), None)
        self._remedy = "write {key} = {scale} under [[board.lines.output]]" if mapping else "correct the scale in its sketch"
        supplies = [layout.supply_named(district.supply) for district in self._districts]
        currents = [layout.output_named(d.supply, d.output).current for d in self._districts]
        self._is_ac = np.array(
            [(own or supply.current) == "ac" for own, supply in zip(currents, supplies, strict=True)], dtype=bool
        )
        self._volts = np.array([supply.max_volts for supply in supplies])
        self._plate_va = np.array([supply.plate_va for supply in supplies])
        self._amps = self._plate_va / self._volts
        self._wrong_s: dict[tuple[int, int], deque[float]] = {}
        self._highest = np.zeros(len(supplies))
        self._same = np.zeros(len(supplies), dtype=np.intp)
        self._last = np.full(len(supplies), np.nan)

    def judge(self, figures: Floats, end_s: Floats) -> Judged:
        """Look at the next rows."""
        size = np.array([self._volts, self._amps])[:, np.newaxis]
        negative = self._is_ac & (figures < -th.NEGATIVE_SHARE * size)
        sizes = np.where(self._is_ac, np.maximum(figures, 0.0), np.abs(figures))
        wrong = negative | self._too_much(sizes)
        troubles: list[Trouble] = []
        if wrong.any() or self._wrong_s:
            wrong = self._lasting(wrong, figures, end_s, troubles)
        sizes[wrong] = np.nan
        clipped = self._clipped(sizes[1])
        troubles += [self._clipping(row, column, end_s) for row, column in zip(*np.nonzero(clipped), strict=True)]
        marks = wrong.any() or clipped.any()
        return Judged(
            figures=sizes,
            good=~(wrong.any(axis=0) | clipped) if marks else None,
            amps_clipped=clipped if marks else None,
            troubles=troubles,
        )

    def _too_much(self, sizes: Floats) -> Bools:
        volts, amps = sizes
        too_high = volts > th.VOLTS_LIMIT * self._volts
        amps_wrong = (amps > th.AMPS_LIMIT) | (~too_high & (volts * amps > th.VA_LIMIT * self._plate_va))
        return np.stack([too_high, amps_wrong])

    def _lasting(self, wrong: Bools, figures: Floats, end_s: Floats, troubles: list[Trouble]) -> Bools:
        """Also those figures of a channel that could be, while others of it cannot, over and over."""
        wrong = wrong.copy()
        for quantity, column in {*self._wrong_s, *zip(*(k.tolist() for k in np.nonzero(wrong.any(axis=1))), strict=True)}:
            seen_s = self._wrong_s.setdefault((quantity, column), deque(maxlen=th.TIMES))
            for row, at_s in enumerate(end_s.tolist()):
                if wrong[quantity, row, column]:
                    seen_s.append(at_s)
                    figure = float(figures[quantity, row, column])
                    troubles.append(self._trouble(self._districts[column], quantity, figure, at_s))
                elif len(seen_s) == th.TIMES and at_s - seen_s[0] <= th.WITHIN_S:
                    wrong[quantity, row, column] = True
        return wrong

    def _trouble(self, district: District, quantity: int, figure: float, at_s: float) -> Trouble:
        channel = (district.volts_channel, district.amps_channel)[quantity]
        unit = ("volts", "amps")[quantity]
        return Trouble(
            kind=FindingKind.IMPLAUSIBLE,
            channel=channel,
            start_s=at_s,
            end_s=at_s,
            count=1,
            check=f"The board says {figure:g} {unit} for {district.name}, {self._why(district, quantity, figure)} "
            "Its figures are left out until then.",
        )

    def _why(self, district: District, quantity: int, figure: float) -> str:
        k = self._districts.index(district)
        if figure < 0:
            return (
                "and an RMS figure on an AC supply is never negative: does it send momentary values or means? Make its sketch send the "
                "RMS, or correct the zero."
            )
        most = (self._volts[k], self._amps[k])[quantity]
        unit, milli, key = (("V", "millivolts", "volts_scale"), ("A", "milliamps", "amps_scale"))[quantity]
        bound = f"far above the {most:.3g} {unit} of {district.supply}"
        if th.LEAST_SHARE * most <= figure / 1000 <= (th.VOLTS_LIMIT, th.VA_LIMIT)[quantity] * most:
            return f"{bound}. Are these {milli}? Then {self._remedy.format(key=key, scale='0.001')}."
        return f"{bound}: {self._remedy.format(key=key, scale='...')}."

    def _clipped(self, amps: Floats) -> Bools:
        """Amps at the end of the sensor's range, shape (rows, districts)."""
        clipped = np.zeros(amps.shape, dtype=bool)
        if not (amps > th.CLIPPED_LOAD * self._amps).any() and not self._same.any():
            self._highest = np.fmax(self._highest, np.fmax.reduce(amps, axis=0))
            self._last = amps[-1]
            return clipped
        for row, now in enumerate(amps):
            self._highest = np.fmax(self._highest, now)
            still = (now == self._last) & (now >= self._highest) & (now > th.CLIPPED_LOAD * self._amps)
            self._same = np.where(still, self._same + 1, 0)
            self._last = now
            clipped[row] = self._same >= th.CLIPPED_ROWS - 1
        return clipped

    def _clipping(self, row: int, column: int, end_s: Floats) -> Trouble:
        district, at_s = self._districts[column], float(end_s[row])
        check = (
            f"The amps of {district.name} stand still at their highest: the sensor's range ends there, and more may flow. "
            "Fit a sensor with more range."
        )
        return Trouble(kind=FindingKind.CLIPPED, channel=district.amps_channel, start_s=at_s, end_s=at_s, count=1, check=check)
