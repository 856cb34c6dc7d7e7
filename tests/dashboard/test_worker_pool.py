"""Long work of pages: bounded in number, time and memory, and refused politely beyond. The system's own limits are the reference."""

import os
import threading
import time

import pytest

from dashboard.worker_pool import ADDRESS_LIMIT, NICENESS, VISITORS_LIMIT, Asker, BusyError, WorkerPool
from monitor.errors import SessionError

HERE = Asker(address="127.0.0.1", is_here=True)


def visitor(number):
    return Asker(address=f"192.0.2.{number}", is_here=False)


@pytest.fixture
def pool():
    made = WorkerPool(workers=1, job_limit_s=20.0)
    yield made
    made.close()


def process_and_niceness():
    return os.getpid(), os.nice(0)


def fill(size):
    return len(bytearray(size))


def refuse():
    raise SessionError("this session is of another world: choose another")


def unpicklable():
    return threading.Lock()


def test_work_is_done_elsewhere_behind_everything_else(pool):
    process, niceness = pool.run(HERE, process_and_niceness)
    assert process != os.getpid()
    assert niceness >= os.nice(0) + NICENESS
    assert pool.run(HERE, process_and_niceness)[0] == process  # and what it holds in memory serves again


def test_errors_come_back_as_they_are_and_hurt_no_worker(pool):
    process, _ = pool.run(HERE, process_and_niceness)
    with pytest.raises(SessionError, match="of another world"):
        pool.run(HERE, refuse)
    with pytest.raises(Exception, match="pickle"):
        pool.run(HERE, unpicklable)
    assert pool.run(HERE, process_and_niceness)[0] == process


def test_too_much_memory_is_refused_and_the_next_job_is_done(pool):
    with pytest.raises(BusyError, match="more memory"):
        pool.run(HERE, fill, 4_000_000_000)
    assert pool.run(HERE, fill, 1000) == 1000


def test_what_takes_too_long_is_ended(tmp_path):
    pool = WorkerPool(workers=1)
    process, _ = pool.run(HERE, process_and_niceness)
    pool._job_limit_s = 1.0  # only now: a worker may take long to start
    with pytest.raises(BusyError, match="longer than 1 s"):
        pool.run(HERE, time.sleep, 600)
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)
    pool.close()


def test_a_worker_that_is_killed_is_replaced(pool):
    process, _ = pool.run(HERE, process_and_niceness)
    os.kill(process, 9)
    time.sleep(0.2)
    assert pool.run(HERE, process_and_niceness)[0] != process


def test_one_address_and_all_visitors_together_leave_places_for_this_computer(pool):
    release = threading.Event()
    refused = []

    def ask(asker):
        try:
            with pool._place(asker):
                release.wait(60)
        except BusyError:
            refused.append(asker)

    def crowd(askers):
        threads = [threading.Thread(target=ask, args=(asker,)) for asker in askers]
        for thread in threads:
            thread.start()
        time.sleep(0.3)
        return threads

    threads = crowd([visitor(1)] * (ADDRESS_LIMIT + 2))
    assert refused == [visitor(1)] * 2
    threads += crowd([visitor(k) for k in range(2, 40)])
    assert len(refused) == 2 + 38 - (VISITORS_LIMIT - ADDRESS_LIMIT)
    assert pool.run(HERE, fill, 10) == 10
    release.set()
    for thread in threads:
        thread.join(60)
    assert pool.run(visitor(1), fill, 10) == 10
