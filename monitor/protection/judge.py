"""The judge: compares what is drawn with what may be drawn."""

from monitor.layout import Layout
from monitor.values import Action, ReadingBlock, Warning  # noqa: A004 - the trade's own word for it


class Judge:
    """Turns readings into warnings; results do not depend on how readings are cut into blocks."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout

    def feed(self, readings: ReadingBlock) -> list[Warning]:
        """Take readings of one board, in the stream's time; warnings that rose, changed or cleared."""
        del readings
        return []

    def tick(self, now_s: float) -> list[Warning]:
        """Let time pass without readings."""
        del now_s
        return []

    def operate(self, action: Action) -> list[Warning]:
        """Take what an operator did; warnings that changed by it."""
        del action
        return []

    def finish(self, now_s: float) -> list[Warning]:
        """The stream ends; what still stands keeps its open end."""
        del now_s
        return []
