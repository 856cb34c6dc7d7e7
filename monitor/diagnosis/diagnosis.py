"""The diagnosis: finds events, names their causes, and looks for patterns."""

from monitor.layout import Layout
from monitor.values import Event, Pattern, ReadingBlock, SampleBlock


class Diagnosis:
    """Turns readings and samples into events and patterns; results do not depend on how they are cut into blocks."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout

    def feed(
        self, samples: tuple[SampleBlock, ...], readings: tuple[ReadingBlock, ...], now_s: float
    ) -> tuple[list[Event], list[Pattern]]:
        """Take what one chunk brought, in the stream's time; events that changed, and patterns as they now stand."""
        del samples, readings, now_s
        return [], []

    def finish(self, now_s: float) -> tuple[list[Event], list[Pattern]]:
        """The stream ends: what was held back to see how it goes on."""
        del now_s
        return [], []
