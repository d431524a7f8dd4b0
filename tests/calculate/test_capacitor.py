"""Capacitors: there and back, what is refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.capacitor import (
    METER_SAFE,
    TouchLimits,
    bleed,
    bleed_resistor,
    climb,
    farads_from_climb,
    seconds_to,
    stored_energy,
    volts_after,
)


@settings(deadline=None)
@given(st.floats(1e-6, 1e-2), st.floats(2, 100), st.floats(100, 1e6), st.floats(0.02, 1))
def test_time_there_and_back(farads: float, volts: float, ohms: float, share: float) -> None:
    seconds = seconds_to(volts * share, volts, farads, ohms)
    assert volts_after(seconds, volts, farads, ohms) == pytest.approx(volts * share)


def test_the_resistor_found_does_it_in_time() -> None:
    ohms = bleed_resistor(84, 1.5e-3, 5)
    assert seconds_to(METER_SAFE, 84, 1.5e-3, ohms) == pytest.approx(5)
    assert bleed(84, 1.5e-3, ohms).to_meter == pytest.approx(5)


def test_a_shop_may_set_lower_limits() -> None:
    assert bleed(50, 1e-3, 1e3).to_touch == 0
    assert bleed(50, 1e-3, 1e3, TouchLimits(dc=25)).to_touch == pytest.approx(math.log(2))


@settings(deadline=None)
@given(st.floats(1e-6, 1), st.floats(1e-6, 0.1))
def test_climb_there_and_back(farads: float, amps: float) -> None:
    assert farads_from_climb(amps, climb(amps, farads)) == pytest.approx(farads)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: stored_energy(0, 60), "1000 uF"),
        (lambda: stored_energy(1e-3, math.nan), "not a voltage of a bench"),
        (lambda: volts_after(-1, 60, 1e-3, 1e3), "zero or more"),
        (lambda: volts_after(1, 60, 1e-3, math.inf), "not open"),
        (lambda: seconds_to(0, 60, 1e-3, 1e3), "never quite reaches 0"),
        (lambda: bleed_resistor(10, 1e-3, 5, 20), "nothing to bleed"),
        (lambda: bleed_resistor(60, 1e-3, 0), "above zero"),
        (lambda: climb(0, 1e-3), "1 mA"),
        (lambda: farads_from_climb(1e-3, 0), "must climb"),
        (lambda: TouchLimits().safe(5, "ac"), "dc, peak or rms"),  # type: ignore[arg-type]
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
