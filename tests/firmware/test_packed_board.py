"""The packed board's own firmware on an emulated ATmega328P, judged by what was put on its pins."""

import itertools
import math

import numpy as np
import pytest

from monitor.values import Health, Identity
from monitor.wire import Fault, SampleRun, WireDecoder
from tests.firmware import bench, packets, toolchain
from tests.firmware.bench import amps_wave, volts_wave
from tests.metering.converter import joined, layout_of, metered_counts

pytestmark = pytest.mark.avr
CHANNELS = 8
SCAN_S = 832e-6
"""Eight conversions of 13 converter clocks, 128 cycles of 16 MHz each."""
WINDOW_SCANS = 6000
"""5 s: whole cycles of 50 and of 60 Hz, near enough."""

# Outer main: a plain sine. Inner main: 50 Hz with a DC part, as a whistle signal puts there. Quarry branch: chopped by an
# electronic throttle. Town lights: small, then heavy. Amps lag by the angle of a motor.
WAVES = {
    0: volts_wave(18.0, noise_mv=2),
    1: amps_wave(6.5, phase_degrees=-30, noise_mv=2),
    2: volts_wave(14.0, hertz=50, dc_volts=4.0, noise_mv=2),
    3: amps_wave(2.0, hertz=50, phase_degrees=-20, dc_amps=0.6, noise_mv=2),
    4: volts_wave(16.0, cut_degrees=90, noise_mv=2),
    5: amps_wave(4.0, cut_degrees=90, noise_mv=2),
    6: volts_wave(12.0, phase_degrees=180, noise_mv=2),
    7: amps_wave(0.4, phase_degrees=180, noise_mv=2),
}
CHANGE_S = 9.0
CHANGED = amps_wave(9.0, phase_degrees=180, noise_mv=2)


@pytest.fixture(scope="module")
def long_run():
    """16 emulated seconds of the plain build."""
    return bench.record(toolchain.packed_elf(), WAVES, seconds=16, commands=[f"{CHANGE_S} {CHANGED.command(7)}"])


@pytest.fixture(scope="module")
def long_stream(long_run):
    return packets.opened(long_run.wire)


def readings(stream, first_scan, scans=WINDOW_SCANS):
    """Volts and amps of a stretch of scans, by the identity's own scale and zero, shape (scans, channels)."""
    channels = packets.identity(stream.of(packets.IDENTITY)[0])[2]
    counts = np.concatenate([counts for _, counts in stream.scans()])[first_scan : first_scan + scans].astype(float)
    return (counts - [channel[3] for channel in channels]) * [channel[2] for channel in channels]


def rms(values):
    return np.sqrt(np.mean(np.square(values), axis=0))


def test_every_packet_opens_and_none_is_missing(long_stream):
    assert long_stream.broken == 0
    assert long_stream.sequences == list(range(len(long_stream.sequences)))
    assert set(long_stream.numbers) == {0}
    assert set(long_stream.kinds) == {packets.IDENTITY, packets.SAMPLES, packets.HEALTH}


def test_no_scan_is_missing_and_as_many_as_promised_come_a_second(long_stream, long_run):
    expected = 0
    for first, counts in long_stream.scans():
        assert first == expected
        expected += len(counts)
    assert expected == pytest.approx(long_run.report.seconds / SCAN_S, abs=40)
    assert expected / long_run.report.seconds == pytest.approx(1201.9, rel=0.001)


def test_identity_at_once_and_every_second(long_stream):
    assert long_stream.kinds[0] == packets.IDENTITY
    bodies = long_stream.of(packets.IDENTITY)
    assert len(bodies) == 16
    assert len(set(bodies)) == 1
    version, interval_ns, channels, name = packets.identity(bodies[0])
    assert (version, interval_ns, name) == (1, round(SCAN_S * 1e9), "bench-1")
    assert [channel[0] for channel in channels] == ["V", "A"] * 4


def test_health_every_second(long_stream):
    healths = long_stream.healths()
    assert len(healths) == 16
    uptimes = [uptime_ms for uptime_ms, *_ in healths]
    assert np.diff(uptimes) == pytest.approx(1000, abs=3)
    # simavr's own reference is 1.1 V and its supply is set to 5 V here; one count in 225 is the converter's own step.
    assert [supply_mv for _, supply_mv, *_ in healths] == pytest.approx([bench.REFERENCE_MV] * 16, rel=1 / 225)
    assert {dropped for _, _, dropped, _ in healths} == {0}
    assert {bits for *_, bits in healths} == {1}


def test_board_time_agrees_with_the_scans_sent(long_stream):
    sent = 0
    for kind, body in zip(long_stream.kinds, long_stream.bodies, strict=True):
        if kind == packets.SAMPLES:
            sent = int.from_bytes(body[:4], "little") + body[4]
        if kind == packets.HEALTH:
            assert int.from_bytes(body[:4], "little") / 1000 == pytest.approx(sent * SCAN_S, abs=0.015)


# RMS of what was injected: a sine with DC is sqrt(V^2 + D^2); a sine cut at 90 degrees is V / sqrt(2) (the phase-cut formula
# V sqrt(1 - a/pi + sin(2a)/(2 pi)) at a = pi/2).
INJECTED = [18.0, 6.5, math.hypot(14, 4), math.hypot(2, 0.6), 16 / math.sqrt(2), 4 / math.sqrt(2), 12.0, 0.4]
FULL_SCALE = np.array([bench.FULL_SCALE_VOLTS_RMS, bench.FULL_SCALE_AMPS_RMS] * 4)


def test_rms_is_what_was_injected(long_stream):
    measured = rms(readings(long_stream, 1200))
    assert np.all(np.abs(measured - INJECTED) < 0.01 * FULL_SCALE), measured


def test_rms_follows_a_change(long_stream):
    measured = rms(readings(long_stream, round((CHANGE_S + 0.5) / SCAN_S)))
    assert measured[7] == pytest.approx(9.0, abs=0.01 * bench.FULL_SCALE_AMPS_RMS)
    assert np.all(np.abs(measured[:7] - INJECTED[:7]) < 0.01 * FULL_SCALE[:7])


@pytest.mark.parametrize("hertz", [50, 60])
def test_a_chopped_wave_is_right_over_a_fifth_of_a_second(hertz):
    """Twenty-odd samples a cycle cannot place the edge of a chop: the meter follows it from cycle to cycle."""
    waves = {0: volts_wave(16.0, hertz=hertz, cut_degrees=90), 1: amps_wave(4.0, hertz=hertz, cut_degrees=90)}
    items = WireDecoder().feed(bench.record(toolchain.packed_elf(), waves, seconds=6).wire)
    board = next(item for item in items if isinstance(item, Identity))
    counts = np.concatenate([item.counts for item in items if isinstance(item, SampleRun)])
    aggregates = metered_counts(counts, board, layout_of(1, hertz, filter_us=0)).aggregates
    volts_rms, start_s = joined(aggregates, "volts_rms")[:, 0], joined(aggregates, "start_s")
    errors = np.abs(volts_rms[start_s > 1] - 16 / math.sqrt(2)) / bench.FULL_SCALE_VOLTS_RMS
    # A sample that was lent to the reference may stand where the edge is: once in four seconds at most.
    assert np.sort(errors)[-2] < 0.01
    assert errors.max() < 0.015


def test_dc_parts_are_what_was_injected(long_stream):
    means = np.mean(readings(long_stream, 1200), axis=0)
    assert np.all(np.abs(means - [0, 0, 4.0, 0.6, 0, 0, 0, 0]) < 0.01 * FULL_SCALE), means


def test_watts_are_what_was_injected(long_stream):
    """Real power, once the amps are moved back by their skew (here: by a phase shift, as both are sines)."""
    values = readings(long_stream, 1200)
    skew_s = 104e-6
    for volts, amps, degrees, hertz, va in ((0, 1, 30, 60, 18.0 * 6.5), (6, 7, 0, 60, 12.0 * 0.4)):
        watts = np.mean(values[:, volts] * values[:, amps])
        seen_degrees = degrees - 360 * hertz * skew_s
        assert watts == pytest.approx(va * math.cos(math.radians(seen_degrees)), abs=0.01 * va + 0.1)


@pytest.fixture(scope="module")
def short_run():
    return bench.record(toolchain.packed_elf(), WAVES, seconds=2)


def test_each_count_is_the_conversion_of_the_voltage_at_its_own_pin(short_run):
    """floor(mV * 1024 / reference), the data sheet's formula; but for what two channels a second lent to the reference."""
    counts = np.concatenate([counts for _, counts in packets.opened(short_run.wire).scans()]).astype(int)
    pins, lent = short_run.truth["pin"][1:], np.zeros(counts.shape, dtype=bool)  # the first conversion only wakes the converter
    expected, at = np.zeros(counts.shape, dtype=int), 1
    for place in np.ndindex(counts.shape):
        lent[place] = short_run.truth["pin"][at] != place[1]
        if not lent[place]:
            expected[place] = int(short_run.truth["mv"][at]) * 1024 // bench.REFERENCE_MV
            at += 1
    assert set(pins) == set(range(CHANNELS))
    assert np.array_equal(counts[~lent], expected[~lent])
    scans, channels = np.nonzero(lent)
    assert channels.tolist() == [0, 1, 2, 3]
    assert scans.tolist() == [20, 20, 20 + 1201, 20 + 1201]
    # The mean of the samples before and after.
    means = (expected[scans - 1, channels] + expected[scans + 1, channels] + 1) // 2
    assert np.array_equal(counts[scans, channels], means)


def test_the_converter_s_clock_is_within_the_data_sheet_s_limits(short_run):
    """ATmega328P data sheet, converter characteristics: 50 to 200 kHz; a conversion takes 13 clocks where one starts the next."""
    hertz = 13 * bench.CLOCK_HERTZ / np.median(np.diff(short_run.truth["cycle"].astype(np.int64)))
    assert 50e3 <= hertz <= 200e3
    assert 1 / SCAN_S >= 1200


def test_a_converter_that_stands_still_is_restarted_by_the_watchdog_which_is_told():
    recorded = bench.record(toolchain.packed_elf(), WAVES, seconds=2, commands=["0.9 hang"])
    stream = packets.opened(recorded.wire)
    assert [health[3] & 8 for health in stream.healths()] == [0, 8]
    firsts = [first for first, _ in stream.scans()]
    assert firsts.count(0) == 2
    # The watchdog's own oscillator: 250 ms.
    assert (max(firsts) + firsts[-1]) * SCAN_S == pytest.approx(0.9 + 2 - 1.15, abs=0.05)


def test_interval_and_skew_are_those_of_the_conversions(short_run):
    interval_ns, channels = packets.identity(packets.opened(short_run.wire).of(packets.IDENTITY)[0])[1:3]
    scans = (len(short_run.truth) - 1) // CHANNELS
    times_s = short_run.truth["cycle"][1 : 1 + scans * CHANNELS].reshape(-1, CHANNELS)[:20] / bench.CLOCK_HERTZ
    assert np.mean(np.diff(times_s[:, 0])) == pytest.approx(interval_ns * 1e-9, rel=1e-5)
    skews_s = np.median(times_s - times_s[:, :1], axis=0)
    assert skews_s == pytest.approx([channel[1] * 1e-6 for channel in channels], abs=3e-6)
    # No interrupt takes part in the timing.
    assert np.max(np.abs(np.diff(times_s[:, 0]) - interval_ns * 1e-9)) < 1e-9


def test_the_monitor_understands_the_firmware(long_run, long_stream):
    decoder = WireDecoder()
    items = [item for at in range(0, len(long_run.wire), 777) for item in decoder.feed(long_run.wire[at : at + 777])]
    assert decoder.form == "packed"
    assert not [item for item in items if isinstance(item, Fault)]
    counts = np.concatenate([item.counts for item in items if isinstance(item, SampleRun)])
    assert np.array_equal(counts, np.concatenate([counts for _, counts in long_stream.scans()]))
    health = next(item for item in items if isinstance(item, Health))
    assert {cause.name for cause in health.reset_causes} == {"POWER_ON"}


@pytest.mark.parametrize("bits", [1, 2, 4, 8, 6, 0])
def test_reset_cause_is_told_early(bits):
    healths = packets.opened(bench.record(toolchain.packed_elf(), seconds=0.2, reset_cause=bits).wire).healths()
    assert [health[3] for health in healths] == [bits]


def test_a_restart_begins_again_and_tells_why():
    recorded = bench.record(toolchain.packed_elf(), WAVES, seconds=2, commands=["1.2 reset 4"])
    decoder = WireDecoder()
    firsts = [item for item in decoder.feed(recorded.wire) if isinstance(item, SampleRun | Health)]
    restarts = [now for before, now in itertools.pairwise(firsts) if getattr(now, "first_scan", 1) == 0]
    assert len(restarts) == 1
    last = next(item for item in reversed(firsts) if isinstance(item, Health))
    assert ({cause.name for cause in last.reset_causes}, last.uptime_s) == ({"BROWN_OUT"}, pytest.approx(0.1, abs=0.01))


def lost_scans(stream):
    """Scans missing between sample packets, and the index after the last one that came."""
    lost, expected = 0, 0
    for first, counts in stream.scans():
        assert first >= expected
        lost += first - expected
        expected = first + len(counts)
    return lost, expected


def test_a_port_too_slow_costs_whole_packets_and_every_lost_scan_is_counted():
    """115200 baud carries half of what is sampled (11.5 kB/s of 21)."""
    recorded = bench.record(toolchain.packed_elf("BOARD_BAUD=115200UL"), WAVES, seconds=10)
    stream = packets.opened(recorded.wire)
    assert stream.broken == 0
    assert recorded.report.overruns == 0
    assert stream.sequences == list(range(len(stream.sequences)))
    assert len(stream.of(packets.IDENTITY)) == pytest.approx(10, abs=1)
    losses = list(stream.losses())
    assert len(losses) >= 8
    assert all(before <= told <= after for before, told, after in losses)
    assert losses[-1][1] > 3000


def test_a_port_that_stands_still_costs_only_its_own_time():
    recorded = bench.record(toolchain.packed_elf(), WAVES, seconds=4, commands=["1.5 stall 0.5"])
    stream = packets.opened(recorded.wire)
    assert stream.broken == 0
    lost, _ = lost_scans(stream)
    # Half a second is 601 scans, less what the ring (3 packets) and the queue (2) keep; a last slow byte may end 10 ms late.
    assert 601 - 60 <= lost <= 614
    dropped = [health[2] for health in stream.healths()]
    assert (dropped[0], dropped[-1]) == (0, lost)
    assert rms(readings(stream, 2000, 1200))[0] == pytest.approx(18.0, abs=0.01 * bench.FULL_SCALE_VOLTS_RMS)


def test_the_port_is_never_written_before_it_is_ready(long_run):
    """The bench keeps a model of a real transmitter (one byte on the wire at 10 bits, one waiting) beside simavr's."""
    assert long_run.report.overruns == 0
    assert long_run.report.bytes == len(long_run.wire)


def test_the_bench_would_see_firmware_that_does_not_wait():
    rude = toolchain.plain_elf(toolchain.Path(__file__).parent / "rude.c")
    assert bench.record(rude, seconds=0.1).report.overruns > 1000


def test_memory_is_fixed_and_enough_is_left(long_run):
    elf = toolchain.packed_elf()
    sizes = toolchain.sizes(elf)
    assert not {name for name in toolchain.symbols(elf) if name in ("malloc", "calloc", "realloc", "free", "__brkval")}
    assert sizes["data"] + sizes["bss"] < 1400, "of 2048 bytes"
    assert sizes["text"] + sizes["data"] < 8192, "of 32768 bytes"
    # Painted before the start, looked at after 16 s with all interrupts nesting as they came.
    assert long_run.report.untouched > 500


def test_an_impossible_baud_rate_is_refused_when_compiling():
    with pytest.raises(toolchain.CompileError, match="cannot make this baud rate"):
        toolchain.packed_elf("BOARD_BAUD=600000UL")


def test_a_second_board_has_its_own_number_and_name():
    elf = toolchain.packed_elf("BOARD_NUMBER=1", 'BOARD_NAME="bench-2"')
    stream = packets.opened(bench.record(elf, seconds=0.2).wire)
    assert stream.broken == 0
    assert set(stream.numbers) == {1}
    assert packets.identity(stream.of(packets.IDENTITY)[0])[3] == "bench-2"


def test_a_fast_resonator_shows_as_a_low_frequency():
    """Half a per cent fast (a ceramic resonator's usual limit): true 60 Hz looks like 59.7 by the board's own clock."""
    stream = packets.opened(bench.record(toolchain.packed_elf(), {0: volts_wave(18.0)}, seconds=6, fast_ppm=5000).wire)
    volts = readings(stream, 0)[:, 0]
    rising = np.flatnonzero((volts[:-1] < 0) & (volts[1:] >= 0))
    crossings = rising - volts[rising] / (volts[rising + 1] - volts[rising])
    hertz = (len(crossings) - 1) / ((crossings[-1] - crossings[0]) * SCAN_S)
    assert hertz == pytest.approx(60 / 1.005, abs=0.01)


def test_a_board_with_six_inputs():
    three = "VOLTS_CHANNEL,AMPS_CHANNEL,VOLTS_CHANNEL,AMPS_CHANNEL,VOLTS_CHANNEL,AMPS_CHANNEL"
    given = {
        "VOLTS_CHANNEL": "{'V',VOLTS_PER_COUNT,VOLTS_ZERO_COUNTS}",
        "AMPS_CHANNEL": "{'A',AMPS_PER_COUNT,AMPS_ZERO_COUNTS}",
    }
    elf = toolchain.packed_elf(f"CHANNEL_LIST={three}", *(f"{name}={text}" for name, text in given.items()))
    stream = packets.opened(bench.record(elf, WAVES, seconds=3).wire)
    assert stream.broken == 0
    assert len(packets.identity(stream.of(packets.IDENTITY)[0])[2]) == 6
    counts = np.concatenate([counts for _, counts in stream.scans(channels=6)])
    assert len(counts) / 3 == pytest.approx(1602.6, rel=0.01)
    measured = rms((counts[600:3000, :2] - [481.28, 512.0]) * [0.08138, 0.048828])
    assert np.all(np.abs(measured - INJECTED[:2]) < 0.01 * FULL_SCALE[:2])


def test_the_arduino_sketch_sends_the_same():
    elf = toolchain.sketch_elf(toolchain.PACKED_BOARD)
    recorded = bench.record(elf, WAVES, seconds=4)
    stream = packets.opened(recorded.wire)
    assert (stream.broken, recorded.report.overruns) == (0, 0)
    assert stream.sequences == list(range(len(stream.sequences)))
    assert lost_scans(stream)[0] == 0
    assert np.all(np.abs(rms(readings(stream, 1200, 2400)) - INJECTED) < 0.01 * FULL_SCALE)
    plain = packets.opened(bench.record(toolchain.packed_elf(), seconds=0.1).wire)
    assert stream.of(packets.IDENTITY)[0] == plain.of(packets.IDENTITY)[0]
    assert stream.healths()[-1][3] == 1
    assert "malloc" not in toolchain.symbols(elf)
    assert recorded.report.untouched > 500
