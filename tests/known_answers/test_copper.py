"""Copper windings: temperature, rise, delta and wye."""

from __future__ import annotations

import math

import pytest

from knowngood.calculate.resistance import (
    COPPER,
    COPPER_IEC,
    at_temperature,
    delta_terminals,
    delta_to_wye,
    winding_rise,
    wye_terminals,
)


@pytest.mark.parametrize(("k", "ratio"), [(COPPER, 1.39293), (COPPER_IEC, 1.39216)])
def test_ratio_of_120_to_20_degrees(k: float, ratio: float) -> None:
    # k = 234.5 as published for annealed copper; 235 in IEC 60034-1, from memory.
    assert at_temperature(1.0, 20.0, 120.0, k) == pytest.approx(ratio, abs=5e-6)


def test_temperature_coefficient_at_20_degrees() -> None:
    # 0.003929 per degC, published for annealed copper; 0.00393 in IEC 60028 (from memory).
    assert at_temperature(1.0, 20.0, 21.0) - 1 == pytest.approx(0.003929, abs=5e-7)


@pytest.mark.parametrize(("k", "rise"), [(COPPER, 71.35), (COPPER_IEC, 71.50)])
def test_winding_rise(k: float, rise: float) -> None:
    # 0.100 to 0.130 ohm from 20 degC, ambient 25: computed.
    assert winding_rise(0.100, 0.130, 20.0, 25.0, k) == pytest.approx(rise, abs=5e-3)


def test_delta_of_10_20_30_ohm() -> None:
    # Computed with Kennelly's formulas.
    assert delta_to_wye(10.0, 20.0, 30.0) == pytest.approx((5.0, 10 / 3, 10.0))
    assert delta_terminals(10.0, 20.0, 30.0) == pytest.approx((8.333, 13.333, 15.0), abs=5e-4)
    assert wye_terminals(5.0, 10 / 3, 10.0) == pytest.approx((8.333, 13.333, 15.0), abs=5e-4)


def test_a_healthy_delta_and_one_with_an_open_phase() -> None:
    # Textbook: 2R/3 on each pair; 2R, R, R with one phase open.
    assert delta_terminals(3.0, 3.0, 3.0) == pytest.approx((2.0, 2.0, 2.0))
    assert delta_terminals(math.inf, 3.0, 3.0) == pytest.approx((6.0, 3.0, 3.0))
