"""What a meter made of one block of samples."""

from dataclasses import dataclass, field, fields, replace
from typing import TypeVar

import numpy as np

from monitor.values import AggregateBlock, Disturbance, FindingKind, Phasing, ReadingBlock
from monitor.values.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Something wrong with a channel, or with the whole board, as the meter sees it; the same key comes again when it changed.

    Attributes:
        kind: What.
        channel: Which channel; None for the whole board.
        start_s: When it began, board seconds.
        end_s: When it ended; None while it goes on.
        count: How many samples (or scans) are concerned.
        check: What a person should check, one sentence or two; empty for the usual words of its kind.
    """

    kind: FindingKind
    channel: int | None
    start_s: float
    end_s: float | None
    count: int
    check: str = ""


@dataclass(slots=True, kw_only=True)
class Metered:
    """What came of one block, all in board time.

    Attributes:
        readings: One-cycle readings, each half cycle.
        aggregates: Aggregates of about 200 ms.
        disturbances: Dips, swells and interruptions that began, changed or ended.
        phasings: Phasings that were found or changed.
        troubles: What is wrong with channels.
    """

    readings: list[ReadingBlock] = field(default_factory=list)
    aggregates: list[AggregateBlock] = field(default_factory=list)
    disturbances: list[Disturbance] = field(default_factory=list)
    phasings: list[Phasing] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)

    def add(self, other: "Metered") -> None:
        """Take over what another block brought after this one."""
        for each in fields(self):
            getattr(self, each.name).extend(getattr(other, each.name))


class Marker:
    """Carries what the watch over the sensors says from aggregates to readings.

    A reading is judged by the last aggregate that was complete when it ended. Figures of a clipped, reversed, crossed or noisy
    sensor stay as they are (a clipped one is a lower bound that protection needs) and are marked as not good; a stuck channel gives
    no figures at all.
    """

    def __init__(self, districts: int) -> None:
        self._good = np.ones(districts, dtype=bool)
        self._stuck = np.zeros(districts, dtype=bool)
        self._waiting: list[tuple[Floats, Bools, Bools]] = []

    def aggregates(self, block: AggregateBlock, good: Bools, stuck: Bools) -> AggregateBlock:
        """The aggregates with the marks of their own rows."""
        if good.all() and not stuck.any():
            return block
        return _blanked(replace(block, good=block.good & good & ~stuck), stuck)

    def note(self, told_s: Floats, good: Bools, stuck: Bools) -> None:
        """What aggregates say, for the readings to come: behind a hole there may be none yet."""
        self._waiting.append((told_s, good, stuck))

    def readings(self, block: ReadingBlock) -> ReadingBlock:
        """The readings with the marks that hold from when each aggregate was complete."""
        waiting, self._waiting = self._waiting, []
        told_s = np.concatenate([np.zeros(0), *(told_s for told_s, _, _ in waiting)])
        all_good = np.concatenate([self._good[None], *(good for _, good, _ in waiting)])
        all_stuck = np.concatenate([self._stuck[None], *(stuck for _, _, stuck in waiting)])
        self._good, self._stuck = all_good[-1], all_stuck[-1]
        if all_good.all() and not all_stuck.any():
            return block
        place = np.searchsorted(told_s, block.end_s, side="right")
        row_stuck = all_stuck[place]
        before = np.ones(row_stuck.shape, dtype=bool) if block.good is None else block.good
        return _blanked(replace(block, good=before & all_good[place] & ~row_stuck), row_stuck)


_Block = TypeVar("_Block", ReadingBlock, AggregateBlock)


def _blanked(block: _Block, where: Bools) -> _Block:
    """No figures there."""

    def blank(figures: Floats) -> Floats:
        return np.where(where, np.nan, figures)

    return replace(
        block,
        volts_rms=blank(block.volts_rms),
        amps_rms=blank(block.amps_rms),
        volts_mean=blank(block.volts_mean),
        amps_mean=blank(block.amps_mean),
        watts=blank(block.watts),
        volts_peak=blank(block.volts_peak),
        amps_peak=blank(block.amps_peak),
    )
