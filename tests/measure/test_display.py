"""Values as a display shows them: whole counts of its range (the meter sheets' own resolutions)."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from knowngood.measure.display import count_at, first_count, shown, shown_span
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.unit_table import Quantity

METER, CHEAP = load_shipped_meter("generic-6000"), load_shipped_meter("generic-2000")


@pytest.mark.parametrize(
    ("quantity", "low", "high", "words"),
    [
        ("ohms", 0.1975, 0.2875, "0.2 to 0.3 ohm"),
        ("ohms", 0.2038, 0.2038, "0.2 ohm"),
        ("ohms", 0.21, 0.24, "0.2 ohm"),
        ("ohms", 476.46, 27_340.0, "476.5 ohm to 27.34 kohm"),
        ("volts", 100.6e-6, 297.3e-6, "0.1 to 0.3 mV"),
        ("volts", 0.0, 1e-3, "0 to 1 mV"),
        ("volts", 43.5, 55.8, "43.5 to 55.8 V"),
        ("volts", 812.3, 812.3, "812 V"),
        ("diode", 0.30612, 0.7401, "0.306 to 0.74 V"),
        ("rpm", 2990.0, 3010.0, "2990 to 3010 rpm"),
    ],
)
def test_in_the_steps_and_the_unit_of_the_range(
    quantity: Quantity, low: float, high: float, words: str
) -> None:
    assert shown_span(METER, quantity, low, high) == words


def test_a_coarser_meter_tells_less() -> None:
    assert shown(METER, "volts", 12.464) == "12.46 V"
    assert shown(CHEAP, "volts", 12.464) == "12.46 V"
    assert shown(METER, "volts", 57.914) == "57.91 V"
    assert shown(CHEAP, "volts", 57.914) == "57.9 V"
    assert shown(None, "volts", 57.91468) == "57.91 V"


@pytest.mark.parametrize("meter", [METER, CHEAP])
@pytest.mark.parametrize("quantity", ["volts", "ohms", "diode"])
def test_no_reading_lies_between_a_value_and_its_first_count(
    meter: object, quantity: Quantity
) -> None:
    sheet = METER if meter is METER else CHEAP
    for value in [0.0, 1e-5, 0.19751, 0.2, 0.2875, 1.9996, 59.996, 599.97, 5999.4]:
        if sheet.range_for(quantity, value) is None:
            continue
        edge, step = first_count(sheet, quantity, value), count_at(sheet, quantity, value)
        assert value <= edge + 1e-12 and edge - value < step
        assert Decimal(repr(edge)) % Decimal(repr(step)) == 0


def test_without_a_meter_or_a_range_four_digits_are_kept() -> None:
    assert first_count(None, "ohms", 1500.1224) == 1500.0
    assert first_count(METER, "diode", 9.87654) == 9.877
    assert first_count(METER, "volts", math.inf) == math.inf
    assert count_at(None, "volts", 1.0) == 0.0
