from datetime import UTC, datetime, timedelta

import monitor.link.clock as clock_module
from monitor.link import HostClock


def test_seconds_rise_from_zero():
    clock = HostClock()
    first = clock.now_s()
    assert 0 <= first <= clock.now_s() < 5


def test_wall_time_is_anchored_once_whatever_is_done_to_the_computers_clock(monkeypatch):
    clock = HostClock()
    began_at = clock.began_at

    class SteppedBack(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime(2001, 1, 1, tzinfo=tz)

    monkeypatch.setattr(clock_module, "datetime", SteppedBack)
    assert clock.wall_time(90.0) == began_at + timedelta(seconds=90)
    assert abs(datetime.now(tz=UTC) - began_at) < timedelta(seconds=5)
    assert clock.now_s() < 5


def test_a_rehearsal_may_run_faster():
    clock = HostClock(speed=1e6)
    first_s = clock.now_s()
    assert clock.now_s() > first_s + 0.1
    assert clock.wall_time(5e6) - clock.began_at == timedelta(seconds=5)
