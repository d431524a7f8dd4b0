"""Where the doubt of a reading comes from: its budget as a table, for a test or by itself."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.machines.machine import Test
from knowngood.measure.budget import Budget, budget_table
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import Reading
from knowngood.measure.sheet import rough_budget
from knowngood.measure.typed import read_text
from knowngood.measure.unit_table import Quantity
from knowngood.measure.units import parse_measured
from knowngood.places.record import Refused


@dataclass(frozen=True, slots=True)
class Doubt:
    """``words``: what the table is about; ``budget``: its rows."""

    words: str
    budget: Budget

    @property
    def lines(self) -> list[str]:
        return [self.words, *(f"  {line}" for line in budget_table(self.budget).splitlines())]


def doubt_of(test: Test, meter: MeterSheet | None, readings: list[Reading]) -> list[Doubt]:
    """Of the last reading of a test that is a value; before one is there, of a good one. Of
    readings that are compared each by itself, for what they share falls out of the difference."""
    if test.quantity == "yes_no":
        return []
    values = [r for r in readings if r.kind == "value"]
    if not values:
        good = _good_value(test)
        return [] if good is None else [_at(test, meter, good, "A good one")]
    last = values[-1]
    if test.compare:
        each = [read_text(text, test.quantity, meter) for text in last.text.split("; ")]
        named = zip(test.compare, each, strict=False)
        return [_of(test, meter, one, name) for name, one in named if one.kind == "value"][:1]
    return [_of(test, meter, last, f"Read: {last.text}")]


def budget_of(
    reading: Reading, meter: MeterSheet | None, frequency: float | None, range_name: str | None
) -> Budget:
    """The budget of a reading that is a value, on its range or the one named. Raises Refused."""
    quantity: Quantity = reading.quantity  # type: ignore[assignment]
    try:
        typed = parse_measured(reading.text, None).resolution
    except ValueError:
        typed = reading.resolution
    if meter is None or not meter.ranges(quantity):
        return rough_budget(quantity, reading.value, typed)
    try:
        return meter.budget(
            quantity, reading.value, range_name or reading.range_name, typed_resolution=typed,
            frequency=frequency,
        )  # fmt: skip
    except ValueError as error:
        raise Refused(str(error)) from error


def _of(test: Test, meter: MeterSheet | None, reading: Reading, words: str) -> Doubt:
    own = meter if meter is not None and reading.meter == meter.name else None
    return Doubt(words, budget_of(reading, own, test.frequency, None))


def _at(test: Test, meter: MeterSheet | None, value: float, words: str) -> Doubt:
    if meter is None or not meter.ranges(test.quantity):
        return Doubt(words, rough_budget(test.quantity, value))
    ends = meter.ranges(test.quantity)[-1].full_scale
    return Doubt(words, meter.budget(test.quantity, min(value, ends), frequency=test.frequency))


def _good_value(test: Test) -> float | None:
    """The middle of what a good machine reads, None when that is no value."""
    pieces = [p for p in test.good.pieces if p.kind in ("between", "around", "log")]
    if not pieces or test.compare:
        return None
    likeliest = max(pieces, key=lambda p: p.share)
    if likeliest.kind == "around":
        return likeliest.low
    if likeliest.kind == "log":
        return float((likeliest.low * likeliest.high) ** 0.5)
    return (likeliest.low + likeliest.high) / 2
