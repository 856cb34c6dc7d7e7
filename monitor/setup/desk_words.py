"""What goes between the page of the set-up and the process that reads the ports."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from monitor.setup.port_tap import Movement, PortView


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupOrder:
    """What the page asks for.

    Attributes:
        kind: "look": somebody looks at the set-up, for some seconds to come; "port": listen to another port; "rehearse": plug in the
            rehearsal board; "watch": the layout file was written, watch by it.
        port: Which port.
    """

    kind: Literal["look", "port", "rehearse", "watch"]
    port: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupView:
    """How boards stand.

    Attributes:
        ports: Every port.
        moved: The pair whose volts moved last.
        trouble: Why the last order could not be followed; empty where it could.
        is_rehearsal: Whether the rehearsal board is among them.
        path: The layout file that is set up.
    """

    path: Path
    ports: tuple[PortView, ...]
    moved: Movement | None = None
    trouble: str = ""
    is_rehearsal: bool = False
