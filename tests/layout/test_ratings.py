"""Sources: ASTM B258 end points (4/0 is 0.4600 in, 36 is 0.0050 in); NEC chapter 9 table 8 (uncoated solid, 75 degrees, printed ohms
per 1000 ft); NBS Circular 31 values at 20 degrees; IEC 60228 maxima at 20 degrees of class 1 and 2, which solid copper stays under, and of
class 5, flexible wire.
"""

import pytest

from monitor.errors import LayoutError
from monitor.layout import Feeder
from monitor.layout.ratings import ampacity_amps, awg_area_mm2, awg_diameter_mm, loop_ohms, ohms_per_m, wire_ohms_per_m

FEET_PER_KFT_M = 304.8


def test_gauge_end_points():
    assert awg_diameter_mm(36) / 25.4 == pytest.approx(0.0050)
    assert awg_diameter_mm(-3) / 25.4 == pytest.approx(0.4600, rel=1e-4)


@pytest.mark.parametrize(("awg", "ohms_per_kft"), [(10, 1.21), (12, 1.93), (14, 3.07), (16, 4.89), (18, 7.77)])
def test_nec_chapter_9_table_8_at_75_degrees(awg, ohms_per_kft):
    assert ohms_per_m(awg_area_mm2(awg), 75) * FEET_PER_KFT_M == pytest.approx(ohms_per_kft, rel=0.005)


@pytest.mark.parametrize(
    ("awg", "ohms_per_kft"), [(12, 1.588), (14, 2.525), (16, 4.016), (18, 6.385), (20, 10.15), (22, 16.14), (24, 25.67)]
)
def test_nbs_values_at_20_degrees(awg, ohms_per_kft):
    assert ohms_per_m(awg_area_mm2(awg)) * FEET_PER_KFT_M == pytest.approx(ohms_per_kft, rel=0.001)


@pytest.mark.parametrize(("mm2", "ohms_per_km"), [(0.5, 36.0), (0.75, 24.5), (1.0, 18.1), (1.5, 12.1), (2.5, 7.41), (4, 4.61)])
def test_nominal_wire_stays_under_the_maxima_of_iec_60228(mm2, ohms_per_km):
    assert 0.9 * ohms_per_km < ohms_per_m(mm2) * 1000 < ohms_per_km


@pytest.mark.parametrize(("mm2", "ohms_per_km"), [(0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4, 4.95)])
def test_a_feeder_in_square_millimetres_is_flexible_wire(mm2, ohms_per_km):
    assert wire_ohms_per_m(Feeder(mm2=mm2, one_way_m=1)) * 1000 == pytest.approx(ohms_per_km)
    assert loop_ohms(Feeder(mm2=mm2, one_way_m=500)) == pytest.approx(ohms_per_km)


@pytest.mark.parametrize("mm2", [0.14, 0.25, 2.0, 16.0])
def test_sizes_that_the_standard_does_not_list_are_as_flexible(mm2):
    assert 1.1 < wire_ohms_per_m(Feeder(mm2=mm2, one_way_m=1)) / ohms_per_m(mm2) < 1.16


def test_a_worked_feeder():
    # 14 AWG, 20 ft one way, 10 A, 20 degrees: 1.010 V (hand calculation from the NBS resistance).
    assert 10 * loop_ohms(Feeder(awg=14, one_way_m=6.096)) == pytest.approx(1.010, abs=0.001)


def test_ampacity_takes_the_next_thinner_gauge():
    assert ampacity_amps(Feeder(awg=16, one_way_m=1)) == 10
    assert ampacity_amps(Feeder(mm2=1.5, one_way_m=1)) == 10
    assert ampacity_amps(Feeder(awg=15, one_way_m=1)) == 10
    with pytest.raises(LayoutError, match="awg or mm2"):
        loop_ohms(Feeder(one_way_m=1))
