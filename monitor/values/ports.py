"""How it stands with a port."""

from dataclasses import dataclass
from typing import Literal

PortState = Literal["opening", "talking", "silent", "lost", "refused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PortStatus:
    """One port as its reader sees it.

    Attributes:
        port: Its device or URL as the layout file writes it.
        board: The board's name in the layout file; None while nobody there said who it is.
        state: "opening", "talking", "silent" (open, nothing comes), "lost" (was there, is gone) or "refused" (cannot be opened).
        sentence: What a person should know and do, in plain words.
    """

    port: str
    board: str | None
    state: PortState
    sentence: str

    @property
    def is_well(self) -> bool:
        """True while data comes."""
        return self.state == "talking"
