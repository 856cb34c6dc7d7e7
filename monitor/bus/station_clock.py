"""How far a station's clock is from ours, from messages that were on their way for a time nobody knows."""

import math

BUCKET_S = 5.0
BUCKETS = 12
"""One minute."""


class StationClock:
    """Keeps the smallest difference of the last minute: that message had the least delay (the idea of the minimum filter of RFC 5905).

    Messages that waited on a disk only make larger differences, so they do no harm.
    """

    def __init__(self) -> None:
        self._smallest: dict[int, float] = {}

    def take(self, made_unix_s: float, now_unix_s: float) -> None:
        """A message came that the station says it made then."""
        bucket = math.floor(now_unix_s / BUCKET_S)
        self._smallest[bucket] = min(self._smallest.get(bucket, math.inf), now_unix_s - made_unix_s)
        while len(self._smallest) > BUCKETS or bucket - min(self._smallest) >= BUCKETS:
            del self._smallest[min(self._smallest)]

    @property
    def behind_s(self) -> float | None:
        """What to add to the station's times to have ours; None before anything came."""
        return min(self._smallest.values(), default=None)
