"""What a bench has: the limits of every number typed into a sum, so that a slip of the unit or of
the sign is said and not worked out. They are wide on purpose (common practice)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Final

from knowngood.measure.unit_table import BASE_UNIT
from knowngood.measure.units import format_value

BENCH: Final[Mapping[str, tuple[float, float]]] = {
    "voltage": (0.0, 1000.0),
    "current": (0.0, 2000.0),
    "resistance": (0.0, 1e9),
    "frequency": (0.0, 1e6),
    "speed": (0.0, 100_000.0),
    "pressure": (0.0, 1e7),
    "temperature": (-60.0, 250.0),
    "capacitance": (0.0, 10.0),
    "time": (0.0, 86_400.0),
    "torque": (0.0, 1000.0),
    "percent": (0.0, 100.0),
    "energy": (0.0, 1e6),
    "power": (0.0, 1e6),
    "charge": (0.0, 1000.0),
    "length": (-430.0, 5000.0),
    "area": (0.0, 1000.0),
    "number": (0.0, 1e6),
}
"""(least, most) in base units by dimension. A length may be an altitude, so it goes below zero;
a sum whose length is that of a wire or a nozzle says so itself."""

_PSI: Final = 6894.757293168361


def limits(
    dimension: str, least: float | None, most: float | None, signed: bool
) -> tuple[float, float]:
    """The limits of one input: its own, else those of its dimension, both ways where `signed`."""
    low, high = BENCH.get(dimension, (-math.inf, math.inf))
    if signed:
        low = -high
    return (low if least is None else least), (high if most is None else most)


def check(text: str, values: Iterable[float], low: float, high: float, unit: str) -> None:
    """Raises ValueError with both limits when one of `values` is outside; open (inf) passes.
    `unit` is a dimension or the unit's own name."""
    if any(not low <= v <= high for v in values if v != math.inf):
        raise ValueError(f"{text[:60]!r} is outside {_span(low, high, unit)}")


def _span(low: float, high: float, unit: str) -> str:
    if unit == "pressure":
        return f"{low / _PSI:.4g} to {high / _PSI:.4g} psi"
    if unit in BASE_UNIT:
        return f"{format_value(low, unit)} to {format_value(high, unit)}"
    return f"{low:g} to {high:g} {unit}".rstrip()
