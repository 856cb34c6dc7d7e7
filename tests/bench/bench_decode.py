"""Decode rates of both wire forms beside the usual hobbyist loop, on the same bytes in the same run.

Run: python tests/bench/bench_decode.py
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import io

import numpy as np

from monitor.values import LineReadings
from monitor.wire import SampleRun, WireDecoder
from tests.wire.bytestreams import counts, identity, identity_packet, samples_packet

SECONDS = 120.0
SCANS = round(SECONDS / 832e-6)
REPEATS = 5


def packed_bytes():
    stream = [b"\0", identity_packet(identity())]
    stream += [samples_packet(15 * k, counts(15, 8, seed=k % 50), k + 1) for k in range(SCANS // 15)]
    return b"".join(stream)


def line_bytes():
    rng = np.random.default_rng(1)
    return b"".join(
        f"r,{100 * (k // 4)},{k % 4},{rng.uniform(0, 18):.2f},{rng.uniform(0, 8):.2f}\n".encode()
        for k in range(round(SECONDS * 1000))
    )


def text_of_scans():
    """The same scans as a hobbyist's sketch prints them: eight numbers a line, for the usual loop to read."""
    rows = np.concatenate([counts(15, 8, seed=k % 50) for k in range(SCANS // 15)])
    return b"".join((",".join(map(str, row)) + "\n").encode() for row in rows.tolist())


def usual_loop(data):
    source, samples = io.BytesIO(data), 0
    while line := source.readline():
        values = [float(word) for word in line.decode().split(",") if word != "r"]
        samples += len(values)
    return samples


def decode(data):
    decoder, samples = WireDecoder(), 0
    for start in range(0, len(data), 4096):
        for item in decoder.feed(data[start : start + 4096]):
            if isinstance(item, SampleRun):
                samples += item.counts.size
            elif isinstance(item, LineReadings):
                samples += 2 * len(item.times_ms)
    return samples


def best(work, data):
    seconds, samples = [], 0
    for _ in range(REPEATS):
        began = time.perf_counter()
        samples = work(data)
        seconds.append(time.perf_counter() - began)
    return sorted(seconds)[len(seconds) // 2], samples


def main():
    packed, lines, text = packed_bytes(), line_bytes(), text_of_scans()
    rows = [("packed form", decode, packed), ("line form", decode, lines)]
    rows += [("usual loop, same scans as text", usual_loop, text), ("usual loop, same lines", usual_loop, lines)]
    per_sample = {}
    print(f"{'what':34}{'MB/s':>8}{'scans/s':>12}{'ns a sample':>13}   (median of {REPEATS})")
    for name, work, data in rows:
        seconds, samples = best(work, data)
        per_sample[name] = seconds / samples
        print(f"{name:34}{len(data) / seconds / 1e6:8.1f}{samples / 8 / seconds:12.0f}{1e9 * seconds / samples:13.1f}")
    ratio = per_sample["usual loop, same scans as text"] / per_sample["packed form"]
    print(f"packed form per sample: {ratio:.1f} times faster than the usual loop")


if __name__ == "__main__":
    main()
