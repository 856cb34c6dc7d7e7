"""The program as a user starts it, with one thing more: two signals do to its clocks what happens to those of a host.

SIGUSR1 is a host that was suspended for a minute (the clock that counts on while it sleeps jumps), SIGUSR2 is a clock set back by
an hour. Neither can be had for real without the right to set the clocks of the whole computer.
"""

import datetime as dt
import os
import signal
import sys
import time

from monitor.cli.main import main
from monitor.link import clock

SUSPENDED_S = 60.0
SET_BACK_S = 3600.0


class ShiftedTime(dt.datetime):
    """The wall clock after it was set back."""

    @classmethod
    def now(cls, tz=None):
        return super().now(tz) - dt.timedelta(seconds=SET_BACK_S)


def suspend(_number, _frame):
    steady_s = clock._steady_s
    clock._steady_s = lambda: steady_s() + SUSPENDED_S
    # The computer stops with its clock; whoever plays the host lets it go on.
    os.kill(os.getpid(), signal.SIGSTOP)


def set_back(_number, _frame):
    wall_s, plain = time.time, dt.datetime  # noqa: TID251 - to set it back
    time.time = lambda: wall_s() - SET_BACK_S  # noqa: TID251 - as above
    dt.datetime = ShiftedTime
    for module in list(sys.modules.values()):
        if getattr(module, "__name__", "").startswith(("monitor", "dashboard")) and getattr(module, "datetime", None) is plain:
            module.datetime = ShiftedTime
    print("set back", flush=True)  # noqa: T201 - tells the test


if __name__ == "__main__":
    signal.signal(signal.SIGUSR1, suspend)
    signal.signal(signal.SIGUSR2, set_back)
    sys.exit(main())
