"""The only reader of the computer's clocks."""

import time
from datetime import UTC, datetime, timedelta


class HostClock:
    """Seconds since the watch began, from a clock that never steps and that goes on while the computer sleeps.

    Args:
        speed: For rehearsals: so many seconds of the watch in one of the wall clock.

    Attributes:
        began_at: Wall clock when the watch began, UTC: read once, so that setting the computer's clock moves nothing.
    """

    def __init__(self, speed: float = 1.0) -> None:
        self._speed = speed
        self._zero_s = _steady_s()
        self.began_at = datetime.now(tz=UTC)

    def now_s(self) -> float:
        """Seconds since the watch began, to the microsecond: no finer than what a recording keeps."""
        return round((_steady_s() - self._zero_s) * self._speed, 6)

    def wall_time(self, at_s: float) -> datetime:
        """Wall clock (UTC) of a moment of the watch."""
        return self.began_at + timedelta(seconds=at_s / self._speed)


def _steady_s() -> float:
    # Linux's monotonic clock stands still while the computer is suspended; its boot-time clock does not.
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()
