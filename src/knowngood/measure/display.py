"""A value as the display of a meter shows it: whole counts of the range that holds it, in its unit.

A meter of 0.1 ohm steps shows 0.1975 ohm as 0.2. What a good machine should read, and where one
band of readings ends and the next begins, is told in such steps, so that every reading falls on one
side and none is told finer than the meter can show.
"""

from __future__ import annotations

import math
from decimal import Decimal
from functools import lru_cache

from knowngood.measure.sheet import MeterRange, MeterSheet
from knowngood.measure.unit_table import DIMENSION_OF, Dimension, Quantity
from knowngood.measure.units import format_value, parse_quantity

DIGITS = 4  # where no meter says how many


def first_count(meter: MeterSheet | None, quantity: Quantity, value: float) -> float:
    """The lowest value not below ``value`` (base units) that the display can show; four digits of
    it where no meter says."""
    held = _range(meter, quantity, value)
    if held is None or not math.isfinite(value):
        return float(f"{value:.{DIGITS}g}")
    return _counts(math.ceil(round(value / held.resolution, 6)), held)


def count_at(meter: MeterSheet | None, quantity: Quantity, value: float) -> float:
    """The worth of the last digit there; 0 without a meter that says."""
    held = _range(meter, quantity, value)
    return 0.0 if held is None else held.resolution


def shown(meter: MeterSheet | None, quantity: Quantity, value: float) -> str:
    """ "0.2 ohm": the value as the display shows it, in the unit of the range that holds it; four
    digits where no range does."""
    dimension, held = DIMENSION_OF[quantity], _range(meter, quantity, value)
    if held is None:
        return format_value(value, dimension, DIGITS)
    count = _counts(round(value / held.resolution), held)
    if count == 0:
        return format_value(0.0, dimension)
    unit, worth = _unit(held.full_scale, dimension)
    number = f"{Decimal(repr(count)) / worth:f}"
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {unit}"


def shown_span(meter: MeterSheet | None, quantity: Quantity, low: float, high: float) -> str:
    """ "0.2 to 0.3 ohm"; one value where the display shows both ends alike."""
    first, last = shown(meter, quantity, low), shown(meter, quantity, high)
    if first == last:
        return last
    (number, _, unit), (_, _, other) = first.partition(" "), last.partition(" ")
    return f"{number} to {last}" if unit == other or number == "0" else f"{first} to {last}"


def _range(meter: MeterSheet | None, quantity: Quantity, value: float) -> MeterRange | None:
    return None if meter is None else meter.range_for(quantity, value)


def _counts(count: int, held: MeterRange) -> float:
    return float(count * Decimal(repr(held.resolution)))


@lru_cache(maxsize=256)
def _unit(full_scale: float, dimension: Dimension) -> tuple[str, Decimal]:
    """The unit that such a range shows, and its worth in base units: of 1000 V it is V."""
    unit = format_value(full_scale * (1 - 1e-6), dimension, 6).partition(" ")[2]
    return unit, Decimal(repr(parse_quantity(f"1 {unit}")[0]))
