"""What a meter made of one block of samples."""

from dataclasses import dataclass, field

from monitor.values import AggregateBlock, Disturbance, FindingKind, Phasing, ReadingBlock


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
        self.readings += other.readings
        self.aggregates += other.aggregates
        self.disturbances += other.disturbances
        self.phasings += other.phasings
        self.troubles += other.troubles
