"""Decode rates of the wire forms, each beside a floor: what the same bytes cost with next to nothing done to them.

The packed form's floor splits, decodes and checks each packet by the same C libraries and makes one array of all samples, whatever
board, scan or identity they belong to. The lines' is the usual hobbyist loop.

Run: python -m tests.bench.bench_decode
"""

import io
import json
import time

import numpy as np
from cobs import cobs
from fastcrc import crc16

from monitor.layout import Board, LineMapping, LineOutput
from monitor.values import LineReadings
from monitor.wire import SampleRun, WireDecoder
from tests.wire.bytestreams import counts, identity, identity_packet, samples_packet

SECONDS = 60.0
SCANS = round(SECONDS / 832e-6)
REPEATS = 5
CHUNKS_BYTES = (4096, 1 << 18)
LOST_SHARE = 0.2


def packed_bytes():
    stream = [b"\0", identity_packet(identity())]
    stream += [samples_packet(15 * k, counts(15, 8, seed=k % 50), k + 1) for k in range(SCANS // 15)]
    return b"".join(stream)


def with_loss(stream, hurt):
    """A fifth of the packets lost, or hurt by one byte."""
    rng = np.random.default_rng(3)
    kept = []
    for k, frame in enumerate(stream.split(b"\0")):
        if k < 3 or rng.random() > LOST_SHARE:
            kept.append(frame)
        elif hurt:
            kept.append(frame[:40] + b"\x01" + frame[41:])
    return b"\0".join(kept) + b"\0"


def line_bytes(made="r,{t},{n},{v:.2f},{a:.2f}\n"):
    rng = np.random.default_rng(1)
    return "".join(
        made.format(t=100 * (k // 4), n=k % 4, v=rng.uniform(0, 18), a=rng.uniform(0, 8)) for k in range(round(SECONDS * 1000))
    ).encode()


def packed_floor(data, chunk_bytes):
    samples, tail = 0, b""
    for start in range(0, len(data), chunk_bytes):
        frames = (tail + data[start : start + chunk_bytes]).split(b"\0")
        tail = frames.pop()
        packets = [cobs.decode(frame) for frame in frames if frame]
        good = [p[9:-2] for p in packets if p[0] == 2 and crc16.ibm_3740(p[:-2]) == p[-2] | p[-1] << 8]
        samples += np.frombuffer(b"".join(good), dtype="<i2").size
    return samples


def usual_loop(data, _chunk_bytes=0):
    source, figures = io.BytesIO(data), 0
    while line := source.readline():
        fields = [float(word) for word in line.decode().split(",") if word != "r"]
        figures += len(fields[-2:])
    return figures


def usual_json_loop(data, _chunk_bytes=0):
    source, figures = io.BytesIO(data), 0
    while line := source.readline():
        made = json.loads(line)
        figures += len((float(made["v"]), float(made["a"])))
    return figures


def decoding(board=None):
    def decode(data, chunk_bytes):
        decoder, figures = WireDecoder(board), 0
        for start in range(0, len(data), chunk_bytes):
            for item in decoder.feed(data[start : start + chunk_bytes]):
                if isinstance(item, SampleRun):
                    figures += item.counts.size
                elif isinstance(item, LineReadings):
                    figures += 2 * len(item.times_ms)
        return figures

    return decode


def board_of(form, volts, amps):
    return Board(name="x", lines=LineMapping(form=form, output=(LineOutput(volts=volts, amps=amps),)))


def nanoseconds(work, data, chunk_bytes):
    """Of processor a figure, each of the repeats."""
    began_s = time.process_time()
    figures = work(data, chunk_bytes)
    return (time.process_time() - began_s) / figures * 1e9


def main():
    packed, lines = packed_bytes(), line_bytes()
    values, texts, objects = (
        line_bytes(made) for made in ("{v:.2f},{a:.2f}\n", "{v:.2f},{a:.2f},ok\n", '{{"v":{v:.2f},"a":{a:.2f}}}\n')
    )
    pairs, by_place = line_bytes("V={v:.2f} I={a:.2f}\n"), decoding(board_of("values", 1, 2))
    rows = [
        ("packed", decoding(), packed_floor, packed),
        ("packed, a fifth lost", decoding(), packed_floor, with_loss(packed, hurt=False)),
        ("packed, a fifth hurt", decoding(), packed_floor, with_loss(packed, hurt=True)),
        ("lines", decoding(), usual_loop, lines),
        ("mapped values", by_place, usual_loop, values),
        ("mapped values among words", by_place, None, texts),
        ("mapped pairs", decoding(board_of("pairs", "V", "I")), None, pairs),
        ("mapped JSON", decoding(board_of("json", "v", "a")), usual_json_loop, objects),
    ]
    print(f"{'what':28}{'chunk':>8}{'ns a figure':>13}{'floor':>8}{'ratio':>8}   (medians of {REPEATS}, each beside its floor)")
    for name, work, floor, data in rows:
        for chunk_bytes in CHUNKS_BYTES:
            pairs_ns = [
                (nanoseconds(work, data, chunk_bytes), nanoseconds(floor, data, chunk_bytes) if floor else np.nan)
                for _ in range(REPEATS)
            ]
            took, least = np.median(pairs_ns, axis=0)
            ratio = np.median([a / b for a, b in pairs_ns])
            print(f"{name:28}{chunk_bytes:8}{took:13.1f}{least:8.1f}{ratio:8.2f}")


if __name__ == "__main__":
    main()
