"""Makers of wire bytes, shared by the wire tests, and a way to compare item streams however they were cut."""

import itertools

import numpy as np
from hypothesis import strategies as st

from monitor.values import Channel, Health, Identity, LineReadings, ResetCause
from monitor.wire import SampleRun
from monitor.wire.encode import health_body, identity_body, packet, samples_body

FULL_SCALE_COUNTS = 1023


def identity(channels=8, number=0, name="bench-1", interval_ns=832_000):
    quantities = [("V", 0.0703125), ("A", 0.05859375)]
    return Identity(
        number=number,
        name=name,
        scan_interval_s=interval_ns * 1e-9,
        channels=tuple(
            Channel(
                quantity=quantities[k % 2][0],
                skew_s=104e-6 * k,
                units_per_count=quantities[k % 2][1],
                zero_counts=512.0,
            )
            for k in range(channels)
        ),
    )


def counts(scans, channels, seed=0):
    return np.random.default_rng(seed).integers(0, FULL_SCALE_COUNTS + 1, size=(scans, channels), dtype=np.int16)


def identity_packet(made, sequence=0):
    return packet(1, made.number, sequence, identity_body(made))


def samples_packet(first_scan, block, sequence=0, number=0):
    return packet(2, number, sequence, samples_body(first_scan, block))


def health_packet(uptime_s=0.0, sequence=0, number=0, dropped=0):
    health = Health(
        number=number,
        uptime_s=uptime_s,
        supply_volts=4.98,
        scans_dropped=dropped,
        reset_causes=frozenset({ResetCause.POWER_ON}),
    )
    return packet(3, number, sequence, health_body(health))


def flat(items):
    """Items with runs and readings taken apart, so that streams cut differently compare equal."""
    out = []
    for item in items:
        if isinstance(item, SampleRun):
            out += [("scan", item.number, (item.first_scan + k) % 2**32, *row) for k, row in enumerate(item.counts.tolist())]
        elif isinstance(item, LineReadings):
            columns = (item.times_ms, item.outputs, item.volts_rms, item.amps_rms, np.nan_to_num(item.watts, nan=-1.0))
            out += [("reading", *row) for row in zip(*(column.tolist() for column in columns), strict=True)]
        else:
            out.append(item)
    return out


def feed_in_pieces(decoder, data, cuts):
    edges = [0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data)]
    return [item for start, end in itertools.pairwise(edges) for item in decoder.feed(data[start:end])]


def three_ways(make_decoder, data):
    """The same bytes whole, byte by byte, and with a part of a further packet left over."""
    whole = make_decoder().feed(data)
    slow = make_decoder()
    single = [item for k in range(len(data)) for item in slow.feed(data[k : k + 1])]
    left_over = make_decoder().feed(data + b"\x05\x02")
    return flat(whole), flat(single), flat(left_over)


# Lengths around every limit of the packed form: 1-20 channels, and as many scans as fit.
channel_counts = st.integers(1, 20)


@st.composite
def packet_streams(draw):
    channels = draw(channel_counts)
    most = (254 - 11) // (2 * channels)
    made = identity(
        channels, number=draw(st.integers(0, 255)), name=draw(st.sampled_from(["", "b", "bench-1", "sixteen-letters!"]))
    )
    stream, first, sequence = b"\0" + identity_packet(made), draw(st.sampled_from([0, 7, 2**32 - 9])), 1
    for _ in range(draw(st.integers(1, 8))):
        scans = draw(st.sampled_from(sorted({1, max(1, most - 1), most})))
        stream += samples_packet(first, counts(scans, channels, seed=sequence), sequence, made.number)
        first, sequence = (first + scans) % 2**32, sequence + 1
    return stream


cut_lists = st.lists(st.integers(0, 10_000), max_size=12)
