"""How it stands with a port."""

from dataclasses import dataclass
from typing import Literal

PortState = Literal["opening", "reading", "silent", "lost", "not-understood", "wrong-baud", "stranger"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PortStatus:
    """One port as its reader sees it.

    Attributes:
        port: Its device or URL as the layout file writes it.
        board: The board's name in the layout file (the first, where several hang on it); None while nobody there said who it is.
        state: "opening" (cannot be opened yet, tried again and again), "reading", "silent" (open, nothing comes), "lost" (was
            there, is gone), "not-understood" (text or packets come that mean nothing here), "wrong-baud" (bytes come that are neither) or
            "stranger" (a board that the layout file does not know, or that speaks another version).
        sentence: What a person should know and do, in plain words.
        names: What the boards on it call themselves.
        since_s: Stream seconds at which this state began.
        bytes: Bytes read so far.
        last_data_s: Stream seconds at which bytes came last; None before the first.
    """

    port: str
    board: str | None
    state: PortState
    sentence: str
    names: tuple[str, ...] = ()
    since_s: float = 0.0
    bytes: int = 0
    last_data_s: float | None = None

    @property
    def is_well(self) -> bool:
        """True while data comes."""
        return self.state == "reading"
