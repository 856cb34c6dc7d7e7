import threading

from monitor.runtime.supervision import SupervisedThread
from tests.link.plugs import until


def test_work_that_fails_is_started_again_and_told(caplog):
    tries, running = [], threading.Event()

    def work(stop):
        tries.append(1)
        if len(tries) < 4:
            raise ValueError("the bench caught fire")
        running.set()
        stop.wait()

    thread = SupervisedThread("reader of bench", work, back_off_s=(0.0, 0.01))
    thread.start()
    assert running.wait(60)
    health = thread.health()
    assert (health.name, health.alive, health.failures) == ("reader of bench", True, 3)
    assert health.trouble == "ValueError: the bench caught fire"
    assert "reader of bench failed (3 times so far)" in caplog.text
    thread.ask_to_stop()
    assert thread.join(60)
    assert not thread.health().alive


def test_stopping_cuts_the_back_off_short():
    failed = threading.Event()

    def work(_stop):
        failed.set()
        raise ValueError

    thread = SupervisedThread("pipeline", work, back_off_s=(600.0,))
    thread.start()
    assert failed.wait(60)
    thread.ask_to_stop()
    assert thread.join(60)


def test_joining_what_never_started_or_will_not_end():
    thread = SupervisedThread("x", lambda _stop: release.wait(60))
    release = threading.Event()
    assert thread.join(0.01)
    thread.start()
    until(lambda: thread.health().alive)
    thread.ask_to_stop()
    assert not thread.join(0.01)
    release.set()
    assert thread.join(60)
