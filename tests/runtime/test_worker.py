import threading

import pytest

from monitor.runtime import Pipeline
from monitor.runtime.port_record import PortRecord
from monitor.runtime.worker import FAILURES_LIMIT, Inbox, PipelineWorker
from monitor.values import Action, Chunk
from tests.runtime.streams import packed_stream, plain_layout, sine_counts

PORT = "/dev/ttyUSB0"
DATA = packed_stream(sine_counts(0.2))


class Bench:
    """A worker whose letters are put beforehand; it stops when they are worked through."""

    def __init__(self, make_pipeline=None, sinks=()):
        self.inbox, self.steps, self.at_s = Inbox(joined_within_s=-1.0), [], 0.0
        self.record = PortRecord(PORT, plain_layout(), 500_000)
        self.record.opened(0.0)
        self.worker = PipelineWorker(
            make_pipeline or (lambda: Pipeline(plain_layout())),
            inbox=self.inbox,
            sinks=[*sinks, self.steps.append],
            records={PORT: self.record},
            now_s=lambda: self.at_s,
        )

    def run(self):
        stop = threading.Event()
        stop.set()
        self.worker.work(stop)
        return self.steps


def test_each_chunk_becomes_a_step_for_all_sinks_and_the_end_one_more():
    bench = Bench()
    bench.inbox.put(PORT, Chunk(data=DATA, received_s=0.2))
    steps = bench.run()
    assert [len(step.chunk.data) for step in steps] == [len(DATA), 0]
    assert sum(len(block) for step in steps for block in step.readings) > 10
    assert bench.record.status().state == "reading"


def test_an_action_becomes_a_step_at_once_at_the_hosts_time():
    bench = Bench()
    bench.at_s = 12.5
    mark = Action(kind="mark", at_s=12.4, text="cleaned rails")
    bench.inbox.operate(mark)
    first = bench.run()[0]
    assert (first.actions, first.now_s) == ((mark,), 12.5)


def test_time_passes_without_any_port():
    bench, stop = Bench(), threading.Event()
    bench.at_s = 3.0
    thread = threading.Thread(target=bench.worker.work, args=(stop,))
    thread.start()
    for _ in range(3000):
        if bench.steps:
            break
        stop.wait(0.02)
    stop.set()
    thread.join(60)
    assert bench.steps[0].now_s == 3.0
    assert bench.steps[0].port == ""


def test_a_sink_that_raises_hurts_no_other_and_is_told(caplog):
    def broken(_step):
        raise OSError("disk on fire")

    bench = Bench(sinks=[broken])
    for k in range(10):
        bench.inbox.put(PORT, Chunk(data=DATA[k : k + 1], received_s=0.1 * k))
    assert len(bench.run()) == 11
    assert (bench.worker.failures, bench.worker.trouble) == (11, "OSError: disk on fire")
    # 11 failures, 4 lines: the first, second, fourth and eighth.
    assert sum("a step failed" in record.message for record in caplog.records) == 4


class Poisoned(Pipeline):
    """A pipeline that fails on one byte and, once it has failed, on everything."""

    def feed(self, port, chunk):
        if b"poison" in chunk.data:
            self.feed = self.fail
        return super().feed(port, chunk) if b"poison" not in chunk.data else self.fail(port, chunk)

    def fail(self, _port, _chunk):
        raise RuntimeError("broken state")


def test_a_pipeline_whose_state_broke_is_replaced():
    bench = Bench(make_pipeline=lambda: Poisoned(plain_layout()))
    bench.inbox.put(PORT, Chunk(data=b"poison", received_s=0.0))
    for k in range(FAILURES_LIMIT):
        bench.inbox.put(PORT, Chunk(data=DATA, received_s=0.2 + 0.2 * k))
    steps = bench.run()
    assert bench.worker.failures == FAILURES_LIMIT
    # What could not be judged is kept all the same.
    assert [len(step.chunk.data) for step in steps] == [6, *[len(DATA)] * FAILURES_LIMIT, 0]
    assert [bool(step.readings) for step in steps[:-1]] == [False] * FAILURES_LIMIT + [True]
    assert bench.worker.trouble == "RuntimeError: broken state"


@pytest.mark.parametrize("size", [1, 700])
def test_a_finish_that_comes_amid_a_packet_loses_nothing_before(size):
    bench = Bench()
    for start in range(0, len(DATA), size):
        bench.inbox.put(PORT, Chunk(data=DATA[start : start + size], received_s=start * 1e-5))
    scans = sum(len(block.counts) for step in bench.run() for block in step.samples)
    assert scans == len(sine_counts(0.2))
