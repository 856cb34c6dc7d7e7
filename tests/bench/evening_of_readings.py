"""Three hours of readings of line boards, made up: a lively evening, and one on which every supply is overloaded all the time."""

from datetime import UTC, datetime

import numpy as np

from monitor.rehearsal import demo_layout_text
from monitor.sessions.recorder import Recorder
from monitor.values import Chunk, Step

BEGAN_AT = datetime(2026, 11, 21, 14, tzinfo=UTC)
OUTPUTS, A_SECOND = 4, 5
LAMPS = 3
"""The last output of each board lights the town; trains run on the others."""


def lively(boards, seconds, seed=3):
    """Volts, amps and watts of each output, shape (rounds, boards x OUTPUTS)."""
    dice = np.random.default_rng(seed)
    columns = [_lamps(dice, seconds) if k % OUTPUTS == LAMPS else _trains(dice, seconds) for k in range(boards * OUTPUTS)]
    volts, amps = (np.stack(each, axis=1) for each in zip(*columns, strict=True))
    return volts, amps, volts * amps * 0.9


def overloaded(boards, seconds):
    """The same of draws that climb above what the supply may give, over and over."""
    k = np.repeat(np.arange(seconds * A_SECOND)[:, None], boards * OUTPUTS, axis=1)
    return 14 + k % 90 / 100, 2 + 2 * k % 90 / 100, np.full(k.shape, 30.1)


def recorded(folder, figures, boards, seed=4):
    """A session of them, a chunk a board and round, as their ports would have brought them; its folder."""
    volts, amps, watts = figures
    dice = np.random.default_rng(seed)
    recorder = Recorder(folder, demo_layout_text([f"p{k}" for k in range(boards)]), began_at=BEGAN_AT, reserve_bytes=0)
    for k in range(len(volts)):
        ms = k * 1000 // A_SECOND
        for board in range(boards):
            head = f"b,bench-{board + 1},{OUTPUTS},{1000 // A_SECOND}\n" if k % A_SECOND == 0 else ""
            rows = enumerate(range(board * OUTPUTS, (board + 1) * OUTPUTS))
            lines = "".join(f"r,{ms},{o},{volts[k, d]:.2f},{amps[k, d]:.2f},{watts[k, d]:.1f}\n" for o, d in rows)
            came_s = ms / 1000 + 0.01 + float(dice.uniform(0, 0.004))
            recorder.put(Step(port=f"p{board}", chunk=Chunk(data=(head + lines).encode(), received_s=came_s), now_s=came_s))
        recorder.keep_up(1_000_000)
    recorder.close()
    return recorder.status().folder


def _trains(dice, seconds):
    """A train goes round: hills show in its draw lap for lap, somebody moves the throttle, a dirty joint loses contact."""
    at_s = np.arange(seconds * A_SECOND) / A_SECOND
    lap_s, draw = dice.uniform(15, 40), dice.uniform(0.8, 2.2)
    amps = draw * (1 + 0.15 * np.sin(2 * np.pi * at_s / lap_s) + 0.05 * np.sin(4 * np.pi * at_s / lap_s + 1))
    hand = _throttle(dice, len(at_s))
    volts, amps = dice.uniform(12, 18) * hand, amps * hand
    laps = dice.choice(np.arange(2, seconds // lap_s - 2), seconds // 240, replace=False)
    for lap in (laps + dice.uniform()).tolist():
        first = int((lap * lap_s + dice.normal(0, 0.2)) * A_SECOND)
        amps[first : first + int(dice.integers(1, 6))] *= 0.03
    return _measured(dice, volts - amps * 0.5, amps)


def _throttle(dice, rounds):
    """Moved every three to eight minutes, and now and then closed for up to a minute; shares of full, over time."""
    parts = []
    while sum(map(len, parts)) < rounds:
        parts.append(np.full(int(dice.uniform(180, 480) * A_SECOND), dice.uniform(0.7, 1.0)))
        if dice.random() < 0.3:
            parts.append(np.zeros(int(dice.uniform(10, 60) * A_SECOND)))
    return np.convolve(np.pad(np.concatenate(parts)[:rounds], 4, "edge"), np.full(9, 1 / 9), "valid")


def _lamps(dice, seconds):
    """Lamps in some groups, switched every few minutes."""
    amps = np.full(seconds * A_SECOND, 0.3)
    for group in dice.uniform(0.1, 0.5, 4).tolist():
        edges = np.cumsum(dice.uniform(120, 900, seconds // 100 + 2) * A_SECOND).astype(int)
        for on, off in zip(edges[::2], edges[1::2], strict=False):
            amps[on:off] += group
    return _measured(dice, 14.0 - amps * 0.4, amps)


def _measured(dice, volts, amps):
    noise = dice.normal(0, 0.02, (2, len(volts)))
    return np.abs(np.maximum(volts, 0) + noise[0] * (volts > 1)), np.abs(amps + noise[1])
