"""Cutting a byte stream at a delimiter, with a limit that holds however the stream is cut into chunks."""


class Framer:
    """Gives what ends with a delimiter.

    Whatever grows longer than the limit is dropped up to its delimiter. The "drop to the next delimiter" state is what keeps
    the result independent of chunking: a framer that trims its buffer instead turns the tail of an over-long frame into a
    plausible short one when bytes come slowly.

    Attributes:
        offset: Bytes taken in so far.
    """

    def __init__(self, *, delimiter: bytes, limit_bytes: int) -> None:
        self._delimiter = delimiter
        self._limit_bytes = limit_bytes
        self._tail = b""
        self._skipped_bytes = 0
        self.offset = 0

    def feed(self, data: bytes) -> tuple[bytes, int, int]:
        """Take bytes in.

        Args:
            data: Any number of bytes.

        Returns:
            All frames that ended, each with its delimiter and however long; the byte position in the stream at which they begin;
            how many bytes of the first one were skipped before that, since it is longer than the limit.
        """
        end = data.rfind(self._delimiter) + 1
        text, position, skipped_bytes = b"", self.offset - len(self._tail), 0
        self.offset += len(data)
        if end:
            text, skipped_bytes = self._tail + data[:end], self._skipped_bytes
            self._tail, self._skipped_bytes = b"", 0
        self._keep(self._tail + data[end:])
        return text, position, skipped_bytes

    def rest(self) -> bytes:
        """What the stream ends with, behind its last delimiter; empty where that is longer than the limit."""
        return self._tail

    def _keep(self, rest: bytes) -> None:
        if self._skipped_bytes or len(rest) > self._limit_bytes:
            self._skipped_bytes += len(rest)
            self._tail = b""
        else:
            self._tail = rest
