"""Sensors that lie, and sound ones that must not be called liars."""

import numpy as np
import pytest

from monitor.metering import BoardHealth
from monitor.values import FindingKind, Health, ResetCause
from tests.metering.converter import chopped, counts_of, identity_of, joined, layout_of, metered_counts, phase_cut, pulsed, sine

IDENTITY = identity_of(4)
LAYOUT = layout_of(2, supplies=2)
SOUND = [sine(16), sine(4, degrees=-20), sine(12), sine(3)]


def counts_with(seconds=6, **waves):
    """Sound channels, but for those named c0 to c3."""
    return counts_of([waves.get(f"c{k}", wave) for k, wave in enumerate(SOUND)], seconds, identity=IDENTITY)


def judged(counts, layout=LAYOUT):
    made = metered_counts(counts, IDENTITY, layout)
    return {(t.kind, t.channel) for t in made.troubles}, made


def nothing(t):
    return 0 * t


@pytest.mark.parametrize(
    "waves",
    [
        {},
        {"c1": nothing},
        {"c0": nothing, "c1": nothing},
        {"c0": phase_cut(16, 110), "c1": phase_cut(16, 110, load=4)},
        {"c0": sine(16, offset=4), "c1": sine(4, offset=1)},
        {"c1": lambda t: sine(3)(t) * (1 + 0.5 * np.sin(7 * t)) + 0.6 * np.sign(np.sin(2 * np.pi * 431 * t))},
        {"c0": lambda t: sine(16)(t) * (t % 2 > 0.8), "c1": lambda t: sine(4)(t) * (t % 2 > 0.8)},
    ],
    ids=["sines", "no train", "off", "phase-cut", "whistle", "noisy motor", "direction breaks"],
)
def test_sound_channels_are_left_in_peace(waves):
    found, made = judged(counts_with(**waves))
    assert found == set()
    assert joined(made.readings, "good").all()


@pytest.mark.parametrize("noise", [0.0, 0.6])
def test_sound_direct_current_is_left_in_peace(noise):
    waves = [lambda t: 12 + 0 * t, lambda t: 2 + 0 * t, lambda t: 12 + 0 * t, nothing]
    counts = counts_of(waves, 6, identity=IDENTITY, noise=noise)
    assert judged(counts, layout_of(2, current="dc"))[0] == set()


@pytest.mark.parametrize("hertz", [97.3, 977, 3906, 20011])
def test_pulses_are_named_with_a_remedy_and_never_good(hertz):
    waves = [pulsed(14, 0.4, hertz), pulsed(14, 0.4, hertz, 6), lambda t: 12 + 0 * t, nothing]
    found, made = judged(counts_of(waves, 4, identity=IDENTITY), layout_of(2, current="dc"))
    assert found == {(FindingKind.PULSES, 0)}
    assert "low-pass" in made.troubles[0].check
    # A window in twenty in which the pulses seem to keep step with the scans.
    assert joined(made.aggregates, "good")[1:, 0].mean() < 0.1
    assert joined(made.aggregates, "good")[:, 1].all()


@pytest.mark.parametrize(
    ("volts", "hertz", "options", "ohms", "kind"),
    [
        (12, 39_017, {"sweep": 0.03}, 4, FindingKind.PULSES),
        (12, 38_741, {}, 400, FindingKind.PULSES),
        (24, 21_300, {"square": False, "whole": True}, 8, FindingKind.PULSES),
        (12, 27_450, {"sweep": 0.01, "square": False}, 2.4, FindingKind.PULSES),
        (12, 33_131, {"whole": True, "sweep": 0.002, "hertz": 50.03}, 4, FindingKind.PULSES),
        (24, 78_000, {"sweep": 0.03}, 8, FindingKind.PULSES),
        (12, 91_031, {"sweep": 0.03}, 4, FindingKind.NOISY),
        (12, 82_000, {"sweep": 0.01, "hertz": 49.96}, 4, FindingKind.NOISY),
    ],
)
@pytest.mark.parametrize("alone", [False, True])
def test_chopped_ac_is_never_good_for_what_the_filter_leaves_of_it(volts, hertz, options, ohms, kind, alone):
    mains = options.get("hertz", 60.0)
    beside = [nothing, nothing] if alone else [sine(16, mains), sine(3, mains)]
    waves = [chopped(volts, hertz, **options), chopped(volts, hertz, **options, load=ohms), *beside]
    found, made = judged(counts_of(waves, 6, identity=IDENTITY), layout_of(2, round(mains)))
    assert found == {(kind, 0)}
    assert "true RMS" in made.troubles[0].check
    # It shows a tenth of what is there, or less.
    assert joined(made.aggregates, "volts_rms")[:, 0].max() < 0.15 * volts
    assert not joined(made.aggregates, "good")[12:, 0].any()
    assert joined(made.aggregates, "good")[:, 1].all()


def test_a_frequency_that_keeps_step_with_the_mains_for_a_second_is_not_good_meanwhile():
    carrier = chopped(12, 39_017, sweep=0.03)
    waves = [lambda t: np.where((t > 3) & (t < 4), sine(1)(t), carrier(t)), nothing, sine(12), nothing]
    _, made = judged(counts_of(waves, 6, identity=IDENTITY))
    assert not joined(made.aggregates, "good")[8:, 0].any()


def test_an_output_switched_on_gives_no_pulses():
    waves = [lambda t: 12.0 * (t > 1.7), lambda t: 2.0 * (t > 1.7), lambda t: 12 - 2 * t, nothing]
    found, made = judged(counts_of(waves, 4, identity=IDENTITY), layout_of(2, current="dc"))
    assert found == set()
    assert joined(made.aggregates, "good").all()


@pytest.mark.parametrize(("said", "real"), [(60, 50), (60, 50.2), (50, 60), (50, 59.8), (60, 59), (50, 51)])
@pytest.mark.parametrize("cut", [False, True])
def test_the_other_mains_of_the_world_is_told(said, real, cut):
    wave = phase_cut(14, 80, real) if cut else sine(14, real)
    counts = counts_of([wave, lambda t: wave(t) / 4, nothing, nothing], 4, identity=IDENTITY)
    expected = {(FindingKind.OTHER_MAINS, None)} if abs(said - real) > 5 else set()
    assert judged(counts, layout_of(2, said))[0] == expected


def test_a_dead_quiet_unused_channel_is_not_stuck():
    counts = counts_with()
    counts[:, 2:] = 512
    assert judged(counts)[0] == set()


def test_clipped_amps_are_kept_as_a_lower_bound_but_not_good():
    found, made = judged(counts_with(c1=sine(40)))
    assert found == {(FindingKind.CLIPPED, 1)}
    assert not joined(made.readings, "good")[:, 0].any()
    assert joined(made.readings, "good")[:, 1].all()
    assert (joined(made.readings, "amps_rms")[:, 0] > 25).all()


def test_a_stuck_channel_gives_no_figures():
    counts = counts_with()
    counts[2000:, 1] = 640
    found, made = judged(counts)
    assert found == {(FindingKind.STUCK, 1)}
    late = joined(made.readings, "end_s") > 3.5
    assert np.isnan(joined(made.readings, "amps_rms")[late, 0]).all()
    assert not joined(made.readings, "good")[late, 0].any()
    (first,) = [t.start_s for t in made.troubles[:1]]
    assert first == pytest.approx(2000 * 832e-6, abs=0.3)


def test_a_volts_lead_that_fell_off():
    counts = counts_with()
    counts[:, 0] = 512
    assert (FindingKind.STUCK, 0) in judged(counts)[0]


def test_a_reversed_current_sensor():
    found, made = judged(counts_with(c1=sine(4, degrees=160)))
    assert found == {(FindingKind.REVERSED, 1)}
    assert (joined(made.readings, "watts")[:, 0] < 0).all()
    assert not joined(made.aggregates, "good")[-1, 0]


def test_a_motor_at_one_half_power_factor_is_not_reversed():
    assert judged(counts_with(c1=sine(4, degrees=-60)))[0] == set()


def test_crossed_leads():
    # The volts leads of a live and a dead output have changed places.
    found, _ = judged(counts_with(c0=nothing, c1=sine(4), c2=sine(16), c3=nothing))
    assert (FindingKind.CROSSED, 0) in found


def test_a_noisy_channel():
    rng = np.random.default_rng(2)
    counts = counts_with(7, c0=nothing, c1=nothing)
    counts[:, 1] = 512 + rng.normal(0, 12, len(counts))
    assert judged(counts)[0] == {(FindingKind.NOISY, 1)}


def test_a_drifted_zero():
    found, made = judged(counts_with(13, c0=nothing, c1=lambda t: 0.4 + 0 * t))
    assert found == {(FindingKind.ZERO_DRIFT, 1)}
    assert joined(made.readings, "good").all()


def test_every_finding_says_what_to_check():
    for trouble in judged(counts_with(c1=sine(40)))[1].troubles:
        assert trouble.check.endswith(".")


def health(uptime_s, supply_volts=5.0, dropped=0, causes=frozenset()):
    return Health(number=0, uptime_s=uptime_s, supply_volts=supply_volts, scans_dropped=dropped, reset_causes=causes)


def test_board_health():
    board = BoardHealth()
    assert [t.kind for t in board.judge(health(1, causes=frozenset({ResetCause.BROWN_OUT})), 0)] == [FindingKind.BROWN_OUT]
    assert board.judge(health(2, causes=frozenset({ResetCause.BROWN_OUT})), 1) == []
    assert [t.kind for t in board.judge(health(3, supply_volts=4.5), 2)] == [FindingKind.SUPPLY_LOW]
    (dropped,) = board.judge(health(4, dropped=7), 3)
    assert (dropped.kind, dropped.count) == (FindingKind.DROPPED_SCANS, 7)
    assert board.judge(health(5, dropped=7), 4) == []
    assert [t.kind for t in board.judge(health(6, supply_volts=4.7), 5)] == []
    wandered = [board.judge(health(7 + k, supply_volts=4.8), 6 + k) for k in range(4)]
    assert [t.kind for t in wandered[-1]] == [FindingKind.SUPPLY_WANDERS]
    corrected = BoardHealth(5.1, is_corrected=True)
    assert [corrected.judge(health(k, supply_volts=4.8), k) for k in range(5)] == [[]] * 5
    small = BoardHealth()
    assert small.judge(health(1, supply_volts=3.3), 0) == []
    assert small.judge(health(1, supply_volts=None), 0) == []
