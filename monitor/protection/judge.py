"""The judge: compares what is drawn with what may be drawn."""

import itertools

import numpy as np

from monitor.facts.clipping import unclipped
from monitor.layout import Layout
from monitor.protection import thresholds as th
from monitor.protection import words
from monitor.protection.alarms import Alarms
from monitor.protection.limits import most_amps
from monitor.protection.shorts import ShortDetector, ShortSeen
from monitor.protection.stretch import Stretch, take_quiet
from monitor.protection.supply_judge import SupplyJudge
from monitor.protection.ticks import TICK_S, BoardTicks
from monitor.protection.trip_rule import Asked
from monitor.values import Action, Foreseen, Priority, ReadingBlock, RecordedOverload, Scope, SupplyLoad
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats
from monitor.values.grid import row_at

AT_ONCE_TICKS = 512
"""Ticks worked through at once, for the memory that they take."""


class _Board:
    """One board's share of the work."""

    def __init__(self, layout: Layout, name: str, supplies: dict[str, SupplyJudge]) -> None:
        districts = layout.districts_of_board(name)
        self.names = tuple(district.name for district in districts)
        self.supplies = tuple(district.supply for district in districts)
        self.ticks = BoardTicks(len(districts))
        self.is_ac = np.array([supplies[supply].supply.current == "ac" for supply in self.supplies], dtype=bool)
        self.first = 0
        self.means = np.zeros((0, 3, len(districts)))
        self.shorts = ShortDetector(
            np.array([most_amps(supplies[supply].supply) for supply in self.supplies]),
            np.array([supplies[supply].supply.max_volts for supply in self.supplies]),
        )

    def feed(self, readings: ReadingBlock) -> None:
        """Add what became complete to what waits."""
        first, means = self.ticks.feed(readings)
        if not len(self.means):
            self.first = first
        self.means = np.concatenate([self.means, means])

    def span(self, first: int, count: int) -> Floats:
        """Volts, amps and VA of some ticks, shape (count, 3, d); NaN where there is nothing of one."""
        found = np.full((count, *self.means.shape[1:]), np.nan)
        low, high = max(first, self.first), min(first + count, self.first + len(self.means))
        if low < high:
            found[low - first : high - first] = self.means[low - self.first : high - self.first]
        return found

    def drop_before(self, number: int) -> None:
        """Forget ticks that are judged."""
        rows = min(len(self.means), max(0, number - self.first))
        self.means, self.first = self.means[rows:], self.first + rows


class Judge:
    """Turns readings into warnings; results do not depend on how readings are cut into blocks."""

    def __init__(self, layout: Layout, asked: Asked | None = None) -> None:
        self._layout = layout
        self._alarms = Alarms(itertools.count(1))
        self._supplies = {supply.name: SupplyJudge(layout, supply, self._alarms, asked or Asked()) for supply in layout.supply}
        measured = {district.board for district in layout.district}
        self._boards = {b.name: _Board(layout, b.name, self._supplies) for b in layout.board if b.name in measured}
        self._places = {name: (board, k) for board in self._boards.values() for k, name in enumerate(board.names)}
        self._fed = [supply for supply in self._supplies.values() if supply.districts]
        self._sources = {supply.name: self._sources_of(supply) for supply in self._supplies.values()}
        self._next: int | None = None
        self._moved = False

    def feed(self, *readings: ReadingBlock) -> list[RaisedWarning]:
        """Take what boards read over the same stretch of time, in the stream's time; warnings that rose, changed or cleared."""
        shorts = [short for block in readings for short in self._take(block)]
        if self._next is None:
            self._next = min((board.first for board in self._boards.values() if board.ticks.closed is not None), default=None)
        # A short is announced at once; in the order of time with what the ticks before it bring.
        out: list[RaisedWarning] = []
        for board, seen in sorted(shorts, key=lambda short: short[1].at_s):
            out += self._run(min(self._ready(), row_at(seen.at_s, TICK_S)))
            out += self._announce_short(board, seen)
        return out + self._run(self._ready())

    def _take(self, readings: ReadingBlock) -> list[tuple[_Board, ShortSeen]]:
        """Gather ticks of one board; shorts that began or ended on it."""
        board = self._boards.get(readings.board)
        if board is None or not len(readings):
            return []
        readings = unclipped(readings, board.is_ac)
        board.feed(readings)
        return [(board, seen) for seen in board.shorts.feed(readings)]

    def tick(self, now_s: float) -> list[RaisedWarning]:
        """Let time pass without readings."""
        out: list[RaisedWarning] = []
        if self._next is not None:
            closed_at = [board.ticks.closed for board in self._boards.values() if board.ticks.closed is not None]
            late = int(np.floor((now_s - th.SILENT_S) / TICK_S))
            waiting = [closed for closed in closed_at if closed > late]
            out = self._run(min(waiting, default=max(closed_at)))
        return out + self._alarms.tick(now_s)

    def operate(self, action: Action) -> list[RaisedWarning]:
        """Take what an operator did; warnings that changed by it."""
        return self._alarms.operate(action)

    def finish(self, now_s: float) -> list[RaisedWarning]:
        """The stream ends; what still stands keeps its open end."""
        del now_s
        closed_at = [board.ticks.closed for board in self._boards.values() if board.ticks.closed is not None]
        return self._run(max(closed_at, default=0))

    def loads(self) -> tuple[SupplyLoad, ...]:
        """Every supply as it stands, in file order."""
        return tuple(supply.load() for supply in self._supplies.values())

    def loads_if_moved(self) -> tuple[SupplyLoad, ...]:
        """The same where a tick was judged since the last call; empty otherwise."""
        moved, self._moved = self._moved, False
        return self.loads() if moved else ()

    def drain(self) -> tuple[tuple[Foreseen, ...], tuple[RecordedOverload, ...]]:
        """Forecasts and overloads since the last call, where they are asked for."""
        found = [supply.drain() for supply in self._fed]
        return tuple(each for foreseen, _ in found for each in foreseen), tuple(
            each for _, overloads in found for each in overloads
        )

    def _ready(self) -> int:
        """The first tick that some board has not completed."""
        closed = [-(10**9) if board.ticks.closed is None else board.ticks.closed for board in self._boards.values()]
        return min(closed, default=-(10**9))

    def _run(self, until: int) -> list[RaisedWarning]:
        """Judge ticks up to one, that one not included."""
        out: list[RaisedWarning] = []
        while self._next is not None and self._next < until:
            count = min(until - self._next, AT_ONCE_TICKS)
            out += self._judge(self._next, count)
            self._next += count
            self._moved = True
            for board in self._boards.values():
                board.drop_before(self._next)
        return out

    def _judge(self, first: int, count: int) -> list[RaisedWarning]:
        """Judge some ticks: quiet supplies in stretches, the others tick by tick in the order of time."""
        stretches = [Stretch(supply, first, self._figures(supply, first, count)) for supply in self._fed]
        take_quiet(stretches)
        out: list[RaisedWarning] = []
        while (number := min((stretch.next for stretch in stretches), default=first + count)) < first + count:
            for stretch in stretches:
                if stretch.next == number:
                    out += stretch.take_one()
        return out

    def _figures(self, supply: SupplyJudge, first: int, count: int) -> Floats:
        figures = np.full((count, 3, len(supply.districts)), np.nan)
        for board, columns, places in self._sources[supply.name]:
            figures[:, :, columns] = board.span(first, count)[:, :, places]
        return figures

    def _sources_of(self, supply: SupplyJudge) -> list[tuple[_Board, list[int], list[int]]]:
        """Boards that measure a supply, with columns of its own and of theirs."""
        found = []
        for board in self._boards.values():
            columns = [k for k, name in enumerate(supply.districts) if self._places[name][0] is board]
            if columns:
                found.append((board, columns, [self._places[supply.districts[k]][1] for k in columns]))
        return found

    def _announce_short(self, board: _Board, seen: ShortSeen) -> list[RaisedWarning]:
        district, supply = board.names[seen.column], board.supplies[seen.column]
        key = ("short", Scope(kind="district", name=district))
        self._supplies[supply].note_short(seen.at_s)
        if not seen.began:
            return self._alarms.clear(seen.at_s, key, supply)
        return self._alarms.raise_(seen.at_s, key, Priority.HIGH, words.short(district, seen.amps, seen.volts), supply)
