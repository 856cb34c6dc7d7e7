"""What protects a supply, between its tolerances."""

import math

import msgspec
import pytest

from monitor.layout import Protection
from monitor.protection.devices import closes_by_itself, devices_of
from tests.protection.streams import layout_with


def protected(**fields):
    return msgspec.structs.replace(layout_with().supply[0], protection=Protection(**fields))


def test_points_of_a_data_sheet_are_met_a_quarter_either_way():
    devices = devices_of(protected(kind="thermal", rated_amps=10.0, points=((1.35, 80.0), (2.0, 30.0), (3.0, 12.0))))
    for model, share in ((devices.likely, 1.0), (devices.quick, 0.75), (devices.slow, 1.25)):
        assert model.opens_in_s(0.0, 20.0) == pytest.approx(share * 30.0, rel=0.02)


def test_a_breaker_without_points_is_as_wide_as_what_may_be_sold():
    """UL 489: 200 % within 120 s, 100 % holds. IEC 60898-1 test c: 2.55 times takes longer than 1 s."""
    devices = devices_of(protected(kind="thermal", rated_amps=10.0))
    assert devices.slow.opens_in_s(0.0, 20.0) == pytest.approx(120.0, rel=0.02)
    assert 1.0 < devices.quick.opens_in_s(0.0, 25.5) < devices.likely.opens_in_s(0.0, 25.5)
    assert [model.opens_in_s(0.0, 10.0) for model in (devices.quick, devices.likely, devices.slow)] == [math.inf] * 3


def test_a_fuse_without_points_spans_the_published_band():
    """Blade fuses at 135 %: 0.75 s to 600 s (ISO 8820-3)."""
    devices = devices_of(protected(kind="fuse", rated_amps=10.0))
    assert devices.quick.opens_in_s(0.0, 13.5) == pytest.approx(0.75)
    assert devices.slow.opens_in_s(0.0, 13.5) == pytest.approx(600.0)


def test_an_unknown_protection_is_the_quickest_plausible_and_none_is_none():
    unknown = devices_of(protected(kind="unknown"))
    assert unknown.likely.opens_in_s(0.0, 15.0) == devices_of(protected(kind="thermal", rated_amps=10.0)).quick.opens_in_s(
        0.0, 15.0
    )
    assert (
        devices_of(msgspec.structs.replace(layout_with().supply[0], protection=None)).likely.hold_amps == unknown.likely.hold_amps
    )
    assert devices_of(protected(kind="none")) is None


@pytest.mark.parametrize(
    ("kind", "reset", "alone"),
    [
        ("thermal", None, True),
        ("thermal", "manual", False),
        ("fuse", None, False),
        ("fuse", "auto", False),
        ("electronic", None, True),
    ],
)
def test_who_comes_back_alone(kind, reset, alone):
    assert closes_by_itself(Protection(kind=kind, rated_amps=5.0, reset=reset)) is alone
