"""What the running watch needs of whatever keeps the session, by shape."""

import threading
from typing import Protocol, runtime_checkable

from monitor.values import Step


class RecorderStatus(Protocol):
    """How it stands with the recording."""

    @property
    def sentence(self) -> str:
        """What a person should know and do."""

    @property
    def is_well(self) -> bool:
        """False where something is wrong that a person should mend."""


class StepRecorder(Protocol):
    """What keeps the session."""

    def put(self, step: Step) -> None:
        """Take one step; never blocks."""

    def close(self, reason: str) -> None:
        """End the session."""

    def status(self) -> RecorderStatus:
        """How it stands; from any thread."""


@runtime_checkable
class BeatingRecorder(Protocol):
    """A recorder with a thread of its own, which may stand still where the disk does not answer."""

    @property
    def beats(self) -> int:
        """Goes up each time the thread goes round."""

    def restart(self) -> None:
        """Leave that thread behind and begin a new session with another."""

    @property
    def thread(self) -> threading.Thread:
        """That thread."""
