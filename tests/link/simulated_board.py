"""A board's clock and a USB link, simulated: who sends when by its own clock, and when the host gets it."""

import numpy as np


def board_and_host(seed, *, off_ppm, warm_ppm=0.0, warm_s=600.0, jitter_s=0.016, stall_share=0.01, seconds=3600.0, chunk_s=0.15):
    """True time, board time and reception time of chunks; shape (n,) each, seconds.

    The resonator is off by ``off_ppm`` and drifts by ``warm_ppm`` more as it warms up (first order, time constant ``warm_s``).
    Delays are 1 ms and up to ``jitter_s`` more, never less; now and then the computer is busy for about 0.1 s.
    """
    rng = np.random.default_rng(seed)
    count = int(seconds / chunk_s)
    true_s = np.arange(1, count + 1) * chunk_s + rng.uniform(0, chunk_s)
    warming_s = warm_ppm * 1e-6 * (true_s - warm_s * (1 - np.exp(-true_s / warm_s)))
    board_s = true_s * (1 + off_ppm * 1e-6) + warming_s
    delay_s = 0.001 + rng.uniform(0, jitter_s, count) + (rng.random(count) < stall_share) * rng.exponential(0.1, count)
    return true_s, board_s - board_s[0] + chunk_s, np.maximum.accumulate(true_s + delay_s)


def mapped(clock, board_s, received_s, every=1):
    """Stream seconds of each chunk's end (or of every so manyth), as the clock gave them when it came."""
    out = []
    for k, (at_s, came_s) in enumerate(zip(board_s.tolist(), received_s.tolist(), strict=True)):
        clock.observe(at_s, came_s)
        if k % every == 0:
            out.append(float(clock.to_stream(np.array(at_s))))
    return np.array(out)
