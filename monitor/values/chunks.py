"""What arrives: some bytes and when."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


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


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedChunk(Chunk):
    """Chunks of one port that followed each other, as one.

    Attributes:
        ends: Shape (n,), rising: how many of the bytes had come with each of the n pieces.
        came_s: Shape (n,): host seconds when each piece arrived; the last is ``received_s``.
        is_prompt: Whether the last piece came with the least delay of its neighbours, so that it tells what time it is on the board.
    """

    ends: NDArray[np.int64] = field(compare=False)
    came_s: NDArray[np.float64] = field(compare=False)
    is_prompt: bool = False

    def pieces(self) -> Iterator[Chunk]:
        """The chunks as they came."""
        begin, reopened = 0, self.reopened
        for end, received_s in zip(self.ends.tolist(), self.came_s.tolist(), strict=True):
            yield Chunk(data=self.data[begin:end], received_s=received_s, reopened=reopened)
            begin, reopened = end, False
