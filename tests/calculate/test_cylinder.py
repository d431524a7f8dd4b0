"""Engines and air: relations that must hold, what is refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from knowngood.calculate.air import density, fan_at, jet, pressure_at
from knowngood.calculate.cylinder import (
    LeakLimits,
    at_altitude,
    coil_ohms,
    compression_band,
    compression_ratio,
    gauge_pressure,
    leak_down,
    oil_for,
)


def test_the_band_widens_with_the_ratio_and_sinks_with_altitude() -> None:
    low, high = compression_band(8)
    assert low < gauge_pressure(8) < high
    assert compression_band(9)[1] - compression_band(9)[0] > high - low
    assert compression_band(8, 1500)[0] < low


def test_ratio_from_volumes() -> None:
    assert compression_ratio(140, 20) == 8


@pytest.mark.parametrize(
    ("held", "verdict"), [(90e3, "good"), (85e3, "good"), (75e3, "can't tell"), (60e3, "bad")]
)
def test_leak_down(held: float, verdict: str) -> None:
    assert leak_down(100e3, held).verdict == verdict


def test_leak_limits_are_the_shops() -> None:
    assert leak_down(100e3, 85e3, LeakLimits(good=10, bad=12)).verdict == "bad"


def test_a_warm_coil_is_brought_to_20_degrees() -> None:
    found = coil_ohms(3.0 * (234.5 + 80) / (234.5 + 20), 3.0, 80)
    assert found.at_20 == pytest.approx(3.0) and found.verdict == "good"
    assert coil_ohms(math.inf, 3.0).verdict == "bad"
    assert coil_ohms(0.0, 3.0).verdict == "bad"


def test_warm_wet_air_is_lighter() -> None:
    assert density(30) < density(20) < density(10)
    assert density(30, humidity=90) < density(30, humidity=10)
    assert density(20, 90e3) == pytest.approx(density(20) * 90 / 101.325, rel=2e-3)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: pressure_at(9000), "outside -430"),
        (lambda: density(20, 30e3), "absolute"),
        (lambda: jet(200, 0.09), "0 to 120"),
        (lambda: fan_at(4), "new rpm / old rpm"),
        (lambda: compression_ratio(140, 0), "above zero"),
        (lambda: gauge_pressure(0.5), "such as 8"),
        (lambda: gauge_pressure(8, 1.6), "1.2 cold"),
        (lambda: at_altitude(-1, 0), "zero or more"),
        (lambda: leak_down(100, 120), "swapped"),
        (lambda: oil_for(1, 5), "write it like 50"),
        (lambda: oil_for(-1, 50), "zero or more"),
        (lambda: coil_ohms(3, 0), "maker's figure"),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
