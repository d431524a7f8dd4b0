"""The result of a sum as text: four digits, or with ± 2 u to two digits of that."""

from __future__ import annotations

import math

from knowngood.measure.unit_table import BASE_UNIT
from knowngood.measure.units import format_value, parse_measured


def shown_as(value: float, u: float, unit: str) -> str:
    """The value with its unit, four digits, or with ± 2 u to two digits of that."""
    if math.isinf(value):
        return "open" if unit == "resistance" else "no limit"
    wide = 2 * u
    digits = 4
    if wide > 0 and value != 0:
        places = math.floor(math.log10(abs(value))) - math.floor(math.log10(wide))
        digits = min(max(places + 2, 1), 12)
    if unit in BASE_UNIT:
        text = format_value(value, unit, digits)
        return text + (f" ± {format_value(wide, unit, 2)}" if wide > 0 else "")
    text = _digits(value, digits)
    return " ".join([text, *(["±", _digits(wide, 2)] if wide > 0 else []), unit]).strip()


def _digits(value: float, digits: int) -> str:
    text = f"{value:.{digits}g}"
    return f"{float(text):.0f}" if "e+" in text and abs(value) < 1e7 else text


def shown_like(value: float, u: float, unit: str, name: str) -> str:
    """The same in the unit of this name where it is one of the dimension, such as "bar"."""
    try:
        zero, one = (parse_measured(f"{n} {name}") for n in (0, 1))
    except ValueError:
        return shown_as(value, u, unit)
    if not name or one.dimension != unit or not math.isfinite(value):
        return shown_as(value, u, unit)
    worth = one.value - zero.value
    return shown_as((value - zero.value) / worth, u / worth, name)
