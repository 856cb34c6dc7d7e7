"""What the running watch needs of the live store and of the recorder, by shape."""

from collections.abc import Sequence
from typing import Protocol

from monitor.values import PortStatus, Step


class LiveStore(Protocol):
    """What the page looks at."""

    def publish(self, step: Step) -> None:
        """Take one step; quick."""

    def set_ports(self, statuses: Sequence[PortStatus]) -> None:
        """How the ports are doing."""

    def set_recording(self, status_sentence: str, ok: bool) -> None:  # noqa: FBT001 - agreed with its writers
        """How the recording is doing."""


class StepRecorder(Protocol):
    """What keeps the session."""

    def put(self, step: Step) -> None:
        """Take one step; never blocks."""

    def close(self, reason: str) -> None:
        """End the session."""


class LatestOnly:
    """A live store for watching without a page: the latest of each, nothing more.

    Attributes:
        latest: The latest step, or None.
        ports: The latest statuses.
        recording: The latest sentence about the recording, and whether all is well.
    """

    def __init__(self) -> None:
        self.latest: Step | None = None
        self.ports: tuple[PortStatus, ...] = ()
        self.recording: tuple[str, bool] = ("", True)

    def publish(self, step: Step) -> None:
        """Keep it."""
        self.latest = step

    def set_ports(self, statuses: Sequence[PortStatus]) -> None:
        """Keep them."""
        self.ports = tuple(statuses)

    def set_recording(self, status_sentence: str, ok: bool) -> None:  # noqa: FBT001 - the store's agreed shape
        """Keep it."""
        self.recording = (status_sentence, ok)
