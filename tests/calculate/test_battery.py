"""Packs at rest and under load."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.battery import (
    dc_resistance,
    inner_ohms,
    lead_acid_charge,
    lithium_charge,
    lithium_volts,
    series_count,
)


@settings(deadline=None)
@given(st.floats(0, 100))
def test_lithium_charge_there_and_back(charge: float) -> None:
    assert lithium_charge(lithium_volts(charge), "nmc") == pytest.approx(charge, abs=1e-9)


def test_charge_rises_with_volts() -> None:
    steps = [lead_acid_charge(10 + 0.01 * i) for i in range(321)]
    assert steps == sorted(steps)
    assert (steps[0], steps[-1]) == (0, 100)
    assert lithium_charge(4.21, "nca") == 100


@settings(deadline=None)
@given(st.floats(0.001, 1), st.floats(0.1, 20), st.floats(0, 5), st.floats(0.1, 30))
def test_ohms_come_back_from_the_sag(ohms: float, rest: float, first: float, more: float) -> None:
    assert inner_ohms(rest, rest - ohms * more, more) == pytest.approx(ohms, abs=1e-9)
    second = first + more
    found = dc_resistance(rest - ohms * first, first, rest - ohms * second, second)
    assert found == pytest.approx(ohms, abs=1e-9)


@pytest.mark.parametrize("volts", [0.0, 20.0, 40.0, 56.0, 80.0, -21.0, float("nan"), 1e9])
def test_volts_that_are_no_full_charge_are_not_guessed_at(volts: float) -> None:
    with pytest.raises(ValueError, match="nominal"):
        series_count(volts)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: lithium_charge(20.0, "nmc"), "divide by cells"),
        (lambda: lithium_charge(float("nan"), "nmc"), "outside"),
        (lambda: lithium_charge(3.3, "lfp"), "they tell no charge"),
        (lambda: lithium_charge(3.3, "nimh"), "no known chemistry: nmc, nca, lfp"),
        (lambda: lithium_volts(101), "0 is empty"),
        (lambda: lead_acid_charge(14.2), "surface charge"),
        (lambda: inner_ohms(20, 19, 0), "must draw current"),
        (lambda: inner_ohms(20, 21, 1), "swap them"),
        (lambda: dc_resistance(4, 1, 3.9, 1), "must draw more"),
        (lambda: dc_resistance(4, 1, 4.1, 5), "swap them"),
    ],
)
def test_what_makes_no_sense_is_refused(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]
