"""What the pages look at."""

from pathlib import Path
from typing import Protocol

from monitor.layout import Layout
from monitor.runtime.live import Live
from monitor.runtime.supervision import PartHealth
from monitor.values import Action, PortStatus


class WatchLike(Protocol):
    """A running watch or a replay: anything of this shape."""

    @property
    def layout(self) -> Layout:
        """The layout that is watched."""

    @property
    def layout_path(self) -> Path | None:
        """The layout file that bench checks are kept in; None where there is none (the demo, a replay)."""

    @property
    def recordings(self) -> Path | None:
        """The folder of recorded sessions; None where there is none."""

    @property
    def live(self) -> Live:
        """How everything stands."""

    def operate(self, action: Action) -> None:
        """Take what an operator did."""

    def parts(self) -> tuple[PartHealth, ...]:
        """How the program's own parts are doing."""

    def statuses(self) -> tuple[PortStatus, ...]:
        """How it stands with each port."""
