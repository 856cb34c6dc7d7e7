"""What this protection would have done in a recording that was made with another one."""

import numpy as np

from monitor.protection.heat import HeatTrack
from monitor.values import RecordedOverload


class WouldBe:
    """Follows overloads of a recording: one that would have opened stays open until the recorded overload is over.

    Behind that moment the recorded draw is not what would have been drawn; it is taken to be closed again once less is drawn.

    Args:
        supply: The supply's name.
        heat: The heat of its protection by the layout that is asked about.

    Attributes:
        records: What was found since they were last taken; a later one of the same start replaces the earlier.
    """

    def __init__(self, supply: str, heat: HeatTrack) -> None:
        self.records: list[RecordedOverload] = []
        self._supply, self._heat = supply, heat
        self._start_s: float | None = None
        self._opens_at_s: float | None = None
        self._highest = 0.0
        self._reached = np.zeros(len(heat.heats), dtype=bool)

    @property
    def is_open(self) -> bool:
        """It would be open now."""
        return self._opens_at_s is not None

    def follow(self, at_s: float, *, is_over: bool) -> bool:
        """Take a tick at which more is drawn than a quick one holds, or not; True where it would open now."""
        if not is_over:
            self._finish(at_s)
            return False
        if self._start_s is None:
            self._start_s = at_s
        self._reached |= self._heat.heats >= 1.0
        self._highest = max(self._highest, self._heat.likely)
        if self.is_open or self._heat.likely < 1.0:
            return False
        self._opens_at_s, self._heat.is_held_open = at_s, True
        self._record(None)
        return True

    def dead(self, at_s: float) -> None:
        """The recorded supply lost its volts: an opening, or a switch."""
        if self._start_s is None:
            self._start_s, self._highest = at_s, self._heat.likely
        self._finish(at_s)

    def _finish(self, at_s: float) -> None:
        if self._start_s is None:
            return
        self._record(at_s)
        # Nothing gets hotter than where it opens.
        heats = self._heat.heats
        self._heat.heats = np.where(self._reached, np.minimum(heats, self._heat.likely if self.is_open else 1.0), heats)
        self._heat.is_held_open = False
        self._start_s = self._opens_at_s = None
        self._highest = 0.0
        self._reached[:] = False

    def _record(self, end_s: float | None) -> None:
        belief = self._heat.belief
        share = float(belief[self._reached].sum() / belief.sum())
        assert self._start_s is not None  # noqa: S101 - an overload has begun
        self.records.append(
            RecordedOverload(
                supply=self._supply,
                start_s=self._start_s,
                end_s=end_s,
                opens_at_s=self._opens_at_s,
                share=share,
                heat=min(1.0, self._highest),
            )
        )
