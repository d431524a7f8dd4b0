"""Magnet motors: there and back, what a balance says, what is refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.motor import (
    Shape,
    balance,
    braking,
    electrical_hertz,
    no_load_rpm,
    pair_ohms,
    phases_from_pairs,
    pole_pairs_from,
    shaft_rpm,
    speed_constant,
    spun_volts,
    true_volts,
    turns_missing,
    unbalance,
)
from knowngood.calculate.resistance import delta_terminals


@settings(deadline=None)
@given(st.floats(10, 5000), st.floats(300, 20_000), st.sampled_from(["trapezoid", "sine"]))
def test_constant_there_and_back(constant: float, rpm: float, shape: Shape) -> None:
    assert speed_constant(spun_volts(constant, rpm, shape), rpm, shape) == pytest.approx(constant)


def test_spun_at_no_load_speed_it_gives_the_pack_volts_at_the_peak() -> None:
    rpm = no_load_rpm(480, 42.0)
    assert spun_volts(480, rpm, "sine") * math.sqrt(2) == pytest.approx(42.0)


@pytest.mark.parametrize("pairs", [1, 2, 4, 7, 10, 15])
def test_pole_pairs_from_two_readings(pairs: int) -> None:
    hertz = electrical_hertz(1200, pairs)
    assert pole_pairs_from(hertz * 1.01, 1200) == pairs
    assert shaft_rpm(hertz, pairs) == pytest.approx(1200)


def test_an_averaging_meter_is_set_right() -> None:
    shown = 10 * 0.99346
    assert true_volts(shown, 80, true_rms=False) == pytest.approx(10, rel=1e-5)
    assert true_volts(10, 80, true_rms=False, shape="sine") == 10


@settings(deadline=None)
@given(st.floats(0, 1))
def test_turns_missing_there_and_back(share: float) -> None:
    low = math.sqrt(1 + (1 - share) + (1 - share) ** 2)
    assert turns_missing(unbalance(low, low, math.sqrt(3))) == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize(
    ("volts", "odd", "said"),
    [
        ((8.0, 8.05, 7.97), "", "alike within 2 %"),
        ((8.0, 0.1, 0.1), "c", "open"),
        ((0.1, 8.0, 0.1), "a", "open"),
        ((0.1, 0.1, 8.0), "b", "open"),
        ((8.0, 8.0, 0.2), "ca", "read it again"),
        ((7.2, 8.0, 7.2), "a", "short"),
        ((7.2, 7.2, 8.0), "b", "short"),
        ((8.0, 7.2, 7.2), "c", "short"),
        ((8.0, 6.8, 7.9), "bc", "delta"),
        ((7.2, 7.6, 8.0), "", "all three differ"),
    ],
)
def test_what_three_readings_say(volts: tuple[float, float, float], odd: str, said: str) -> None:
    found = balance(volts)
    assert found.odd == odd and said in found.meaning


def test_each_reading_divided_by_its_own_frequency() -> None:
    volts, hertz = (8.0, 7.2, 8.8), (80.0, 72.0, 88.0)
    assert balance(volts).unbalance > 9
    found = balance(volts, hertz)
    assert found.unbalance < 1e-9 and found.doubt == 1.0


def test_all_three_joined_feel_twice_as_stiff_as_two() -> None:
    two, three = braking(500, 0.1, 120, 2), braking(500, 0.1, 120, 3)
    assert three.mean == pytest.approx(2 * two.mean)
    assert (two.least, two.most) == (0.0, pytest.approx(three.mean))


def test_phases_of_a_delta_from_its_pairs() -> None:
    pairs = delta_terminals(0.030, 0.031, 0.0309)
    assert phases_from_pairs(*pairs, "delta") == pytest.approx((0.030, 0.031, 0.0309))
    assert phases_from_pairs(0.06, 0.062, 0.061, "wye") == pytest.approx((0.0295, 0.0305, 0.0315))


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: speed_constant(5, 299), "300 to 100000"),
        (lambda: speed_constant(0, 1200), "check leads"),
        (lambda: speed_constant(5, 1200, "square"), "trapezoid"),  # type: ignore[arg-type]
        (lambda: pole_pairs_from(90, 1200), "count the magnets"),
        (lambda: electrical_hertz(1200, 0), "magnets / 2"),
        (lambda: true_volts(5, 3000, bandwidth=1000), "spin slower"),
        (lambda: true_volts(-1, 80), "zero or more"),
        (lambda: unbalance(0, 0, 0), "spin it"),
        (lambda: balance((8, 8, 8), (80, 0, 80)), "read V, then Hz"),
        (lambda: turns_missing(60), "outside 0 to"),
        (lambda: braking(500, math.inf, 60, 2), "not open"),
        (lambda: braking(500, 0.1, 5000, 2), "hand speed"),
        (lambda: pair_ohms(0.03, "star"), "wye or delta"),  # type: ignore[arg-type]
        (lambda: no_load_rpm(0, 40), "rpm per volt"),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
