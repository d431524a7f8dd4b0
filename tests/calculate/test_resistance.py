"""Ohms of windings."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.resistance import (
    at_temperature,
    delta_terminals,
    delta_to_wye,
    parallel,
    winding_rise,
    wye_from_terminals,
    wye_terminals,
    wye_to_delta,
)

ohms = st.floats(1e-3, 1e4)


@settings(deadline=None)
@given(ohms, ohms, ohms)
def test_delta_and_wye_read_the_same_and_come_back(a: float, b: float, c: float) -> None:
    wye = delta_to_wye(a, b, c)
    assert wye_terminals(*wye) == pytest.approx(delta_terminals(a, b, c), rel=1e-9)
    assert wye_to_delta(*wye) == pytest.approx((a, b, c), rel=1e-9)


@settings(deadline=None)
@given(st.floats(0.1, 10), st.floats(0.1, 10), st.floats(0.1, 10))
def test_legs_come_back_from_the_pairs(a: float, b: float, c: float) -> None:
    assert wye_from_terminals(*wye_terminals(a, b, c)) == pytest.approx((a, b, c), abs=1e-9)


@settings(deadline=None)
@given(ohms, st.floats(-60, 250), st.floats(-60, 250))
def test_temperature_there_and_back(r: float, first: float, second: float) -> None:
    there = at_temperature(r, first, second)
    assert at_temperature(there, second, first) == pytest.approx(r)
    if second > first + 1e-6:
        assert there > r


@settings(deadline=None)
@given(st.floats(0.01, 10), st.floats(-20, 50), st.floats(0, 150))
def test_rise_undoes_the_change_of_ohms(cold: float, start: float, rise: float) -> None:
    hot = at_temperature(cold, start, start + rise)
    assert winding_rise(cold, hot, start, start) == pytest.approx(rise, abs=1e-6)


def test_paths_side_by_side() -> None:
    assert parallel(10.0, 10.0) == pytest.approx(5.0)
    assert parallel(10.0, math.inf) == pytest.approx(10.0)
    assert parallel(math.inf, math.inf) == math.inf
    assert parallel(10.0, 0.0) == 0.0
    assert wye_terminals(math.inf, 1.0, 1.0) == (math.inf, 2.0, math.inf)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: at_temperature(1, 20, 600), "600 degC is outside -60 to 250"),
        (lambda: winding_rise(0.1, 0.3, 20, 25), "read both again"),
        (lambda: winding_rise(0.0, 0.3, 20, 25), "above zero"),
        (lambda: parallel(), "none"),
        (lambda: parallel(-1.0), "zero or more"),
        (lambda: delta_to_wye(math.inf, 1, 1), "not open"),
        (lambda: wye_terminals(-1, 1, 1), "zero or more"),
        (lambda: wye_from_terminals(1, 1, 3), "one exceeds the other two"),
    ],
)
def test_what_makes_no_sense_is_refused(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]
