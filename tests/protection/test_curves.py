"""Device models against printed figures and a circuit simulator."""

import math
import subprocess

import numpy as np
import pytest

from monitor.protection.curves import FUSE_POINTS, THERMAL_POINTS, UNKNOWN_POINTS, fit_thermal, inverse_time, replica
from monitor.protection.devices import single
from monitor.protection.ticks import TICK_S

REPLICA = replica(1.0, ((2.0, 100.0),))


def opens_in_s(curve, heat, amps):
    return float(single(curve).open_in_s(np.array([heat]), amps, np.ones(1))[0])


def after(curve, heat, amps, seconds):
    """Heat after some seconds of ticks at a steady draw."""
    kept, gained = single(curve).steps(np.full(round(seconds / TICK_S), amps), np.ones(1))
    for share, more in zip(kept[:, 0], gained[:, 0], strict=True):
        heat = share * heat + more
    return heat


# IEC 60255-149 cold and hot curves, tau 100 s, k x IB 1; worked to six digits, 1.5 and 2 confirmed by ngspice.
@pytest.mark.parametrize(
    ("amps", "heat", "seconds"),
    [
        (1.1, 0.0, 175.127),
        (1.35, 0.0, 79.562),
        (1.5, 0.0, 58.7787),
        (2.0, 0.0, 28.7682),
        (2.0, 0.81, 6.14086),
        (3.0, 0.0, 11.7783),
        (6.0, 0.0, 2.8171),
    ],
)
def test_replica_meets_the_worked_curve(amps, heat, seconds):
    assert opens_in_s(REPLICA, heat, amps) == pytest.approx(seconds, rel=2e-5)


def test_stepping_meets_the_closed_form():
    """58.7787 s at 1.5 times from cold; 1 - exp(-t / tau) of the way to the end before that."""
    assert after(REPLICA, 0.0, 1.5, 58.6) < 1.0 < after(REPLICA, 0.0, 1.5, 58.8)
    assert after(REPLICA, 0.0, 1.5, 40.0) == pytest.approx(2.25 * (1 - math.exp(-0.4)), rel=1e-9)


def test_replica_against_a_thermal_rc_network_in_ngspice(tmp_path):
    """I squared into a parallel RC (R 1 ohm, C 100 F): 1.2 for 60 s, nothing for 30 s, then 2; ngspice solves it."""
    netlist = """thermal replica
B1 0 heat I = V(draw)*V(draw)
V1 draw 0 PWL(0 1.2 60 1.2 60.001 0 90 0 90.001 2 200 2)
R1 heat 0 1
C1 heat 0 100 IC=0
.tran 10m 120 0 10m UIC
.meas tran cooled FIND v(heat) AT=90
.meas tran opens WHEN v(heat)=1 RISE=1
.end
"""
    path = tmp_path / "replica.cir"
    path.write_text(netlist)
    told = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=False, timeout=60).stdout
    figures = {
        line.split("=")[0].strip(): float(line.split("=")[1].split()[0])
        for line in told.splitlines()
        if " = " in line and line.split()[0] in ("cooled", "opens")
    }
    heat = after(REPLICA, after(REPLICA, 0.0, 1.2, 60.0), 0.0, 30.0)
    assert heat == pytest.approx(figures["cooled"], rel=1e-4)
    assert 90 + opens_in_s(REPLICA, heat, 2.0) == pytest.approx(figures["opens"], rel=1e-4)


def test_a_fit_gets_a_replica_back_from_its_own_points():
    truth = replica(11.5, ((10.0, 62.0),))
    fitted = fit_thermal(10.0, [(m, opens_in_s(truth, 0.0, 10 * m)) for m in (1.35, 2.0, 3.0)])
    assert fitted.hold_amps == pytest.approx(11.5, rel=0.002)
    assert single(fitted).cooling_s[0] == pytest.approx(62.0, rel=0.01)


def test_points_that_fit_no_single_replica_are_still_met():
    points = [(1.35, 1800.0), (2.0, 40.0), (3.0, 12.0), (6.0, 2.0)]
    fitted = fit_thermal(10.0, points)
    for multiple, seconds in points:
        assert opens_in_s(fitted, 0.0, 10 * multiple) == pytest.approx(seconds, rel=1e-6)


def test_one_time_constant_inside_and_outside_iec_60898_1():
    """Ultimate trip 1.29 In, tau 200 s passes tests b and c of IEC 60898-1 table 7; 1.40 In does not (over 60 s at 2.55 In)."""
    inside, outside = replica(1.29, ((2.0, 200.0),)), replica(1.40, ((2.0, 200.0),))
    soaked = after(inside, 0.0, 1.13, 3600.0)
    assert soaked < 1
    assert opens_in_s(inside, soaked, 1.45) == pytest.approx(126.6, abs=0.1)
    assert opens_in_s(inside, 0.0, 2.55) == pytest.approx(59.12, abs=0.01)
    assert opens_in_s(outside, 0.0, 2.55) == pytest.approx(71.7, abs=0.1)


def test_the_200_percent_point_binds_a_single_time_constant():
    """UL 489 / UL 248-14: 200 % within 120 s needs tau <= 417.1 s; 135 % within an hour needs tau <= 4525 s."""
    assert 120 / math.log(4 / 3) == pytest.approx(417.1, abs=0.1)
    assert opens_in_s(replica(1.0, ((2.0, 417.1),)), 0.0, 2.0) == pytest.approx(120.0, abs=0.05)
    assert opens_in_s(replica(1.0, ((2.0, 4525.0),)), 0.0, 1.35) == pytest.approx(3600.0, abs=1.0)


def test_the_default_breaker_lies_within_published_calibration_points():
    """UL 489: 135 % within 3600 s, 200 % within 120 s. IEC 60898-1 test c: 2.55 In between 1 s and 60 s."""
    default = fit_thermal(10.0, THERMAL_POINTS)
    assert opens_in_s(default, 0.0, 10.0) == math.inf
    assert opens_in_s(default, 0.0, 13.5) < 3600
    assert opens_in_s(default, 0.0, 20.0) < 120
    assert 1 < opens_in_s(default, 0.0, 25.5) < 60


def test_the_unknown_breaker_is_the_quicker_one():
    unknown, usual = fit_thermal(10.0, UNKNOWN_POINTS), fit_thermal(10.0, THERMAL_POINTS)
    for amps in (12.0, 15.0, 20.0, 30.0):
        assert opens_in_s(unknown, 0.0, amps) < opens_in_s(usual, 0.0, amps)
    assert opens_in_s(unknown, 0.0, 25.5) > 1


@pytest.mark.parametrize(
    ("multiple", "low_s", "high_s"), [(1.35, 0.75, 600.0), (2.0, 0.15, 5.0), (3.5, 0.08, 0.5), (6.0, 0.03, 0.1)]
)
def test_the_default_fuse_lies_within_blade_fuse_bands(multiple, low_s, high_s):
    """ISO 8820-3 / SAE J1284 (135 % read in a data sheet, the others from memory); 110 % holds."""
    fuse = inverse_time(10.0, FUSE_POINTS)
    assert low_s <= opens_in_s(fuse, 0.0, 10 * multiple) <= high_s
    assert opens_in_s(fuse, 0.0, 11.0) == math.inf


# IEC 60255-151 very inverse (13.5 / (M - 1)) and extremely inverse (80 / (M^2 - 1)); IEEE C37.112 very inverse: printed times.
@pytest.mark.parametrize(
    "table",
    [
        ((1.5, 27.0), (2.0, 13.5), (3.0, 6.75), (5.0, 3.375), (10.0, 1.5)),
        ((1.5, 64.0), (2.0, 26.667), (3.0, 10.0), (5.0, 3.333), (10.0, 0.808)),
        ((1.5, 16.179), (2.0, 7.028), (3.0, 2.942), (5.0, 1.308), (10.0, 0.689)),
    ],
)
def test_inverse_time_points_are_met_and_used_up_in_proportion(table):
    device = inverse_time(1.0, table)
    for multiple, seconds in table:
        assert opens_in_s(device, 0.0, multiple) == pytest.approx(seconds, rel=1e-9)
    half = single(device).steps(np.array([2.0]), np.ones(1))[1][0, 0] * table[1][1] / 2 / TICK_S
    assert opens_in_s(device, half, 3.0) == pytest.approx(table[2][1] / 2, rel=1e-6)


def test_the_default_fuse_stands_in_the_middle_of_its_bands():
    """Geometric middles of ISO 8820-3's bands (the last three from memory)."""
    bands = ((0.75, 600.0), (0.15, 5.0), (0.08, 0.5), (0.03, 0.1))
    assert (
        tuple(
            (multiple, pytest.approx((low * high) ** 0.5, rel=0.02))
            for multiple, (low, high) in zip((1.35, 2.0, 3.5, 6.0), bands, strict=True)
        )
        == FUSE_POINTS
    )
