"""Sessions of several boards, each with a clock and a link of its own, made for tests."""

import numpy as np

from monitor.rehearsal import demo_layout_text
from monitor.sessions import SessionFolder
from monitor.sessions.recorder import Recorder
from monitor.values import Action, Chunk, Step
from tests.runtime.streams import INTERVAL_S, sine_counts
from tests.sessions.shows import BEGAN_AT
from tests.wire.bytestreams import health_packet, identity, identity_packet, samples_packet

PORTS = ("/dev/ttyUSB0", "/dev/ttyUSB1", "/dev/ttyUSB2", "/dev/ttyUSB3")
READING_S = 0.2
PACKET_SCANS = 15


def recorded(folder, layout_text, chunks, *, marks=(), last_s=0.0):
    """A session of chunks, in the order they came.

    Args:
        folder: Where it is written.
        layout_text: Its layout file.
        chunks: (port, chunk), any order.
        marks: (second, text) of what an operator remarked.
        last_s: Ticks go on up to here.
    """
    recorder = Recorder(folder, layout_text, began_at=BEGAN_AT, reserve_bytes=0)
    marks = list(marks)
    ticks = [("", Chunk(data=b"", received_s=at_s)) for at_s in np.arange(0.1, last_s, 2.3).tolist()]
    for port, chunk in sorted([*chunks, *ticks], key=lambda pair: pair[1].received_s):
        at_s, actions = chunk.received_s, ()
        if marks and at_s >= marks[0][0]:
            actions = (Action(kind="mark", at_s=at_s, text=marks.pop(0)[1]),)
        recorder.put(Step(port=port, chunk=chunk, now_s=at_s, actions=actions))
    recorder.close()
    return SessionFolder(recorder.status().folder)


def line_chunks(board, volts, amps, *, seed=0, off_ppm=0.0, delay_s=0.01, jitter_s=0.004, stream_s=0.0, reopened=False):
    """What a line board sends, a chunk a round.

    Args:
        board: Its number, 0 to 3.
        volts: Shape (rounds, outputs).
        amps: Shape (rounds, outputs).
        seed: Of the delays.
        off_ppm: How much its clock goes fast.
        delay_s: Shortest delay of its bytes.
        jitter_s: How much longer it may be.
        stream_s: Host second at which it began.
        reopened: Whether its port was opened anew then.
    """
    dice = np.random.default_rng(seed)
    for k in range(len(volts)):
        ms = 200 * k
        head = f"b,bench-{board + 1},{volts.shape[1]},200\n" if k % 5 == 0 else ""
        lines = "".join(f"r,{ms},{o},{volts[k, o]:.2f},{amps[k, o]:.2f}\n" for o in range(volts.shape[1]))
        at_s = stream_s + ms / 1000 / (1 + off_ppm * 1e-6) + delay_s + dice.uniform(0, jitter_s)
        yield PORTS[board], Chunk(data=(head + lines).encode(), received_s=round(float(at_s), 6), reopened=reopened and k == 0)


def running(outputs, seconds, seed):
    """Trains that go round, stop and go, are moved by hand and lose contact; volts and amps, shape (rounds, outputs)."""
    dice = np.random.default_rng(seed)
    rounds = round(seconds / READING_S)
    at_s = np.arange(rounds)[:, None] * READING_S
    laps_s, draws = dice.uniform(9, 17, outputs), dice.uniform(1.0, 1.6, outputs)
    amps = draws * (1 + 0.15 * np.sin(2 * np.pi * at_s / laps_s))
    volts = np.full((rounds, outputs), 14.0)
    for output in range(outputs):
        for first in dice.integers(60, rounds - 60, 1 + rounds // 300).tolist():
            volts[first : first + 40, output] *= np.linspace(1, 0.7, 40)
            volts[first + 40 :, output] *= 0.7
            amps[first:, output] *= volts[first:, output] / 14.0
        for first in dice.integers(40, rounds - 40, 2).tolist():
            amps[first : first + 4, output] *= 0.03
    return np.abs(volts + dice.normal(0, 0.02, volts.shape)), np.abs(amps + dice.normal(0, 0.01, amps.shape))


def layout_of(boards):
    """The demonstration layout with so many boards."""
    return demo_layout_text(list(PORTS[:boards]))


def packed_chunks(board, counts, *, seed=0, off_ppm=0.0, delay_s=0.004, jitter_s=0.004, packets=8):
    """What a board of waveforms sends, some packets a chunk; counts have shape (scans, channels)."""
    dice = np.random.default_rng(seed)
    made = identity(channels=counts.shape[1], name=f"bench-{board + 1}", number=board)
    sequence, data = 0, b""
    for k, first in enumerate(range(0, len(counts), PACKET_SCANS)):
        if k % 80 == 0:
            data += (b"" if k else b"\0") + identity_packet(made, sequence & 0xFFFF)
            data += health_packet(first * INTERVAL_S, (sequence + 1) & 0xFFFF, board)
            sequence += 2
        data += samples_packet(first, counts[first : first + PACKET_SCANS], sequence & 0xFFFF, board)
        sequence += 1
        if k % packets == packets - 1:
            end_s = (first + PACKET_SCANS) * INTERVAL_S / (1 + off_ppm * 1e-6)
            yield PORTS[board], Chunk(data=data, received_s=round(float(end_s + delay_s + dice.uniform(0, jitter_s)), 6))
            data = b""


def waves(spans):
    """Counts of four districts: (seconds, volts, amps) one after the other, volts and amps of four each; shape (scans, 8)."""
    at_s, blocks = 0.0, []
    for seconds, volts, amps in spans:
        pairs = [sine_counts(seconds, tuple(volts[k : k + 2]), tuple(amps[k : k + 2]), start_s=at_s) for k in (0, 2)]
        blocks.append(np.concatenate(pairs, axis=1))
        at_s += len(blocks[-1]) * INTERVAL_S
    return np.concatenate(blocks)
