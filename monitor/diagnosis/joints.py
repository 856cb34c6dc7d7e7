"""Joints: the same partial sag again and again is what makes a weak joint sure."""

from monitor.diagnosis.occurrences import Occurrence

LEAST_CONFIDENCE = 0.6  # a cause named wrongly is worse than none
SINGLE = 0.5  # a joint sags lap after lap: one sag alone may be anything
REMEMBERED = 3
ALIKE_SHARE = 0.15
SURER = (0.0, 0.85, 0.95)


class Joints:
    """The last weak joints of one district."""

    def __init__(self) -> None:
        self._last: list[Occurrence] = []

    def note(self, event: Occurrence) -> list[Occurrence]:
        """Those of which something is known by this event: itself, and earlier ones like it that became surer."""
        alike = [other for other in self._last if abs(_left(other) - _left(event)) < ALIKE_SHARE]
        event.confidence = max(event.confidence, SURER[min(2, len(alike))])
        surer = [other for other in alike if other.confidence < event.confidence]
        for other in surer:
            other.confidence = event.confidence
        self._last = [*self._last, event][-REMEMBERED:]
        return [event, *surer]


def _left(event: Occurrence) -> float:
    return event.evidence["amps_lowest"] / event.evidence["amps_before"]
