"""Short shows, recorded for tests."""

import functools
from datetime import UTC, datetime

import numpy as np

from monitor.rehearsal import capture, random_scene
from monitor.runtime import Pipeline
from monitor.sessions.recorder import Recorder
from monitor.values import Action, Chunk
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.streams import packed_stream, plain_layout, sine_counts

LAYOUT_TEXT = FERNHOLLOW.split("[calibration")[0].replace("far_volts_channel = 4\n", "")
BEGAN_AT = datetime(2026, 11, 21, 14, 0, tzinfo=UTC)
PORT = "/dev/ttyUSB0"
CHUNK_S = 0.025
SHORT_S = 21


def chunks_of(data, seconds):
    """A stream cut as a port reader cuts it, with the time when each piece came."""
    count = round(seconds / CHUNK_S)
    size = -(-len(data) // count)
    return [Chunk(data=data[k * size : (k + 1) * size], received_s=round((k + 1) * CHUNK_S, 6)) for k in range(count)]


def overload_stream(seconds=6.0):
    """Two calm seconds, two with far more than the plate allows, then calm again."""
    part = seconds / 3
    calm, heavy = sine_counts(part), sine_counts(part, amps_rms=(14.0, 1.0), start_s=part)
    again = sine_counts(part, start_s=2 * part)
    counts = [*calm, *heavy, *again]
    return packed_stream(np.array(counts))


@functools.cache
def rehearsed_short():
    """A rehearsed capture up to its first short: wire bytes and layout text."""
    played = capture(random_scene("short", 3))
    return played.wire[: round(len(played.wire) * SHORT_S / played.truth["seconds"])], played.layout


def record(recordings, data, seconds, *, close=True, marks=(), pipeline=None, **options):
    """Record a stream through the pipeline; returns the recorder and the steps."""
    pipeline = pipeline or Pipeline(plain_layout())
    recorder = Recorder(recordings, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0, **options)
    steps = []
    for k, chunk in enumerate(chunks_of(data, seconds)):
        for at, text in marks:
            if at == k:
                pipeline.operate(Action(kind="mark", at_s=chunk.received_s, text=text))
        steps.append(pipeline.feed(PORT, chunk))
        recorder.put(steps[-1])
    steps.append(pipeline.finish(PORT))
    recorder.put(steps[-1])
    if close:
        recorder.close()
    return recorder, steps
