"""What arrives: some bytes and when."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """Bytes as they came from one port; empty when a read timed out.

    An empty chunk is a tick: it lets data grow stale and delays run out.

    Attributes:
        data: The bytes, any number of them, cut anywhere.
        received_s: Host seconds (monotonic, since the watch began) when they arrived; None offline, where board time rules.
        reopened: True on the first chunk after the port was lost and opened again, or read at another baud rate: what was half
            received before it will never be completed, and nothing says how the board's numbers go on.
    """

    data: bytes
    received_s: float | None = None
    reopened: bool = False
