"""Joints: the same partial sag again and again is what makes a weak joint sure."""

from monitor.diagnosis import thresholds as t
from monitor.diagnosis.occurrences import Occurrence


class Joints:
    """The last weak joints of one district."""

    def __init__(self) -> None:
        self._last: list[Occurrence] = []

    def note(self, event: Occurrence) -> list[Occurrence]:
        """Those of which something is known by this event: itself, and earlier ones like it that became surer."""
        alike = [other for other in self._last if abs(_left(other) - _left(event)) < t.JOINT_ALIKE_SHARE]
        event.confidence = max(event.confidence, t.JOINT_SURER[min(2, len(alike))])
        surer = [other for other in alike if other.confidence < event.confidence]
        for other in surer:
            other.confidence = event.confidence
        self._last = [*self._last, event][-t.JOINT_REMEMBERED :]
        return [event, *surer]


def _left(event: Occurrence) -> float:
    return event.evidence["amps_lowest"] / event.evidence["amps_before"]
