"""What the running watch needs of whatever keeps the session, by shape."""

from typing import Protocol

from monitor.values import Step


class StepRecorder(Protocol):
    """What keeps the session."""

    def put(self, step: Step) -> None:
        """Take one step; never blocks."""

    def close(self, reason: str) -> None:
        """End the session."""
