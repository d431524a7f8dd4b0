"""What a meter's booklet promises, turned into uncertainty; and what averaging meters show."""

from __future__ import annotations

import math

import numpy as np
import pytest

from knowngood.measure.difference import compare
from knowngood.measure.meter import averaging_error, load_shipped_meter
from knowngood.measure.sheet import MeterRange, MeterSheet
from knowngood.measure.typed import read_text


def test_thirty_two_volts_at_two_and_a_half_percent_and_three_counts() -> None:
    # A published worked example of a meter's accuracy: 32.00 V is +-0.83 V; u as one rectangle.
    on_range = MeterRange("40 V", 40.0, 0.01, 2.5, 3)
    sheet = MeterSheet("example", "example", (("volts", (on_range,)),), "worked example")
    assert on_range.half_width(32.0) == pytest.approx(0.83)
    budget = sheet.budget("volts", 32.0)
    accuracy = [row.u for row in budget.rows if row.source.startswith("accuracy")]
    assert math.hypot(*accuracy) == pytest.approx(0.479, abs=5e-4)
    assert budget.u == pytest.approx(0.479, abs=5e-4)


def test_three_alike_are_judged_by_their_differences() -> None:
    # +-(1.2 % + 10 counts of 0.1 V) at 2 V is +-1.02 V: arithmetic; the sheet is from memory.
    cheap = load_shipped_meter("generic-2000")
    assert cheap.ranges("ac_volts")[0].half_width(2.0) == pytest.approx(1.024)
    a, b = read_text("2.0", "ac_volts", cheap), read_text("1.9", "ac_volts", cheap)
    assert a.u > 0.59
    assert compare(a, b).u < 0.3 < math.hypot(a.u, b.u)


PHASE = (np.arange(100_000) + 0.5) / 100_000


def pulse(duty: float) -> np.ndarray:
    return (duty > PHASE).astype(float)


def trapezoid() -> np.ndarray:
    """Line-to-line volts of a 120 degree trapezoidal motor: two phases that each ramp over 60
    degrees and stay flat for 120, subtracted."""
    degrees = 360 * PHASE

    def phase(shift: float) -> np.ndarray:
        corners = [0.0, 30.0, 150.0, 210.0, 330.0, 360.0]
        return np.interp((degrees - shift) % 360, corners, [0.0, 1.0, 1.0, -1.0, -1.0, 0.0])

    return phase(0) - phase(120)


@pytest.mark.parametrize(
    ("wave", "blocks_dc", "percent"),
    [
        (np.sin(2 * np.pi * PHASE), False, 0.0),
        (np.sign(PHASE - 0.5), False, 11.07),  # published, and pi / (2 sqrt 2) - 1
        (1 - 4 * np.abs(PHASE - 0.5), False, -3.81),  # published, and pi sqrt 3 / (4 sqrt 2) - 1
        (pulse(0.25), False, -44.5),  # the rest computed from the form factor
        (pulse(0.01), False, -88.9),
        (pulse(0.25), True, -3.8),
        (pulse(0.01), True, -77.9),
        (trapezoid(), False, -0.65),
    ],
)
def test_averaging_meter_on_other_waves(wave: np.ndarray, blocks_dc: bool, percent: float) -> None:
    digits = 0.005 if abs(percent) < 12 and percent != -3.8 else 0.05
    assert 100 * averaging_error(wave, blocks_dc=blocks_dc) == pytest.approx(percent, abs=digits)


@pytest.mark.parametrize(("hertz", "percent"), [(400, -0.33), (780, -1.2), (1500, -4.4)])
def test_a_cheap_meter_loses_ac_volts_with_frequency(hertz: float, percent: float) -> None:
    # One pole near 4.9 kHz, fitted to a published test of a handheld meter.
    on_range = MeterRange("20 V", 20.0, 0.01, 1.2, 5)
    sheet = MeterSheet(
        "example", "example", (("ac_volts", (on_range,)),), "worked example", ac_bandwidth=4900.0
    )
    shown = 10.0
    correction = sheet.budget("ac_volts", shown, frequency=hertz).correction
    lost = 100 * (shown / (shown + correction) - 1)
    assert lost == pytest.approx(percent, abs=0.05)


def test_a_wave_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="zero everywhere"):
        averaging_error([0.0, 0.0])
