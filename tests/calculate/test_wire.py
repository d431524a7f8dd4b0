"""Copper wire."""

from __future__ import annotations

import pytest

from knowngood.calculate.wire import (
    awg_area,
    awg_diameter,
    awg_number,
    nearest_awg,
    ohms_per_km,
    volts_lost,
    wire_ohms,
)


def test_every_gauge_is_nearest_to_itself_and_thinner_than_the_last() -> None:
    for gauge in range(-3, 51):
        assert nearest_awg(awg_area(gauge)) == gauge
    assert all(awg_diameter(g) > awg_diameter(g + 1) for g in range(-3, 50))


@pytest.mark.parametrize(
    ("text", "gauge"),
    [("18", 18), ("18 AWG", 18), ("AWG18", 18), ("#10", 10), ("2/0", -1), ("0000", -3), ("0", 0)],
)
def test_gauge_as_written(text: str, gauge: int) -> None:
    assert awg_number(text) == gauge


def test_loss_there_and_back_grows_with_heat() -> None:
    assert volts_lost(10.0, 2.0, 2.5) == pytest.approx(2 * 10.0 * wire_ohms(2.0, 2.5))
    assert ohms_per_km(2.5, 60.0) > ohms_per_km(2.5, 20.0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: awg_number("5/0"), "write it like 18 AWG"),
        (lambda: awg_number("99"), "outside"),
        (lambda: awg_number("²"), "write it like 18 AWG"),
        (lambda: awg_diameter(51), "check the marking"),
        (lambda: nearest_awg(0), "write it like 2.5"),
        (lambda: nearest_awg(1000), "outside"),
        (lambda: ohms_per_km(0), "above zero"),
        (lambda: wire_ohms(-1, 1), "zero or more"),
    ],
)
def test_what_makes_no_sense_is_refused(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]
