"""A meter's sheet: what its readings are worth on each function and range.

How doubt is counted (all standard uncertainties, base units):

- The whole +-(% of reading + counts) is one rectangle, u = half-width / sqrt(3). `shared_share` of
  its variance is common to all readings on one function and range, the rest changes from reading to
  reading. Default 0.9 (common practice, no source): the sheet allows for gain and offset that drift
  with age and warmth, which two readings a minute apart share; what is left is a count or two.
- Display: +- half a digit, random; if fewer digits were typed than shown, half the typed digit.
- Ohms, leads not zeroed: the reading is high by something between 0 and twice `lead_ohms`. The
  reading stays as shown; `Budget.correction` is -lead_ohms and the doubt of that is a shared
  rectangle +-lead_ohms. A prediction of what this meter will show adds lead_ohms.
- AC: a one-pole roll-off at `ac_bandwidth`; with the frequency given, the reading is low by a known
  amount (`correction`) and half of that is left as doubt. Below the floor of the range, and for a
  meter that averages instead of taking the true RMS, one more rectangle each.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from knowngood.measure.budget import Budget, BudgetRow, rectangle
from knowngood.measure.unit_table import DIMENSION_OF, Quantity
from knowngood.measure.units import format_value

Floats = NDArray[np.float64]

SHARED_SHARE: Final = 0.9
NEAR_CHANGE: Final = 0.99
"""Share of a range's full scale from which an auto-ranging meter may still show the next larger one
(common practice)."""
WAVE_SHAPE: Final = 0.04
"""Half-width of an averaging meter's error on shapes between sine and triangle (-3.81 %)."""

ROUGH: Final[dict[Quantity, tuple[float, float]]] = {
    "volts": (0.01, 0.02),
    "ac_volts": (0.03, 0.1),
    "ohms": (0.02, 0.5),
    "diode": (0.02, 0.005),
    "amps": (0.03, 0.02),
    "hertz": (0.01, 0.1),
    "rpm": (0.01, 1.0),
    "pressure": (0.03, 7e3),
    "temperature": (0.01, 2.0),
    "capacitance": (0.05, 1e-9),
    "seconds": (0.0, 0.2),
    "torque": (0.06, 0.05),
    "percent": (0.0, 2.0),
    "yes_no": (0.0, 0.0),
}
"""Half-width without a sheet: (share of the reading, plus this in base units). Common practice."""


@dataclass(frozen=True, slots=True)
class MeterRange:
    """One range, base units: accuracy +-(pct % of reading + counts x resolution)."""

    name: str
    full_scale: float
    resolution: float
    pct: float
    counts: float
    test_current: float | None = None
    open_volts: float | None = None

    def half_width(self, value: float) -> float:
        return self.pct / 100 * abs(value) + self.counts * self.resolution


@dataclass(frozen=True, slots=True)
class MeterSheet:
    """What one meter is worth. `functions` pairs a quantity with its ranges, smallest first."""

    name: str
    title: str
    functions: tuple[tuple[Quantity, tuple[MeterRange, ...]], ...]
    source: str
    input_ohms: float = 10e6
    auto_range: bool = True
    true_rms: bool = True
    ac_bandwidth: float | None = None
    ac_floor_pct: float = 0.0
    lead_ohms: float = 0.2
    contact_ohms: float = 0.05
    zeroed: bool = False
    shared_share: float = SHARED_SHARE

    def ranges(self, quantity: Quantity) -> tuple[MeterRange, ...]:
        """Its ranges for a quantity, smallest first; empty if the meter cannot take it."""
        return next((ranges for q, ranges in self.functions if q == quantity), ())

    def range_for(
        self, quantity: Quantity, value: float, typed_resolution: float | None = None
    ) -> MeterRange | None:
        """The range a reading was taken on: the smallest that holds it. If digits were copied as
        shown, their last place is `typed_resolution` and a range with that place is preferred; on
        an auto-ranging meter only near the change of ranges, where it may have stayed on the
        larger one. Elsewhere such a meter shows more places than were typed.

        None if the meter has no such function or no range that large (10 % over is allowed).
        """
        able = [r for r in self.ranges(quantity) if abs(value) <= 1.1 * r.full_scale]
        inside = [r for r in able if abs(value) <= r.full_scale]
        smallest = next(iter(inside or able), None)
        if smallest is None or typed_resolution is None:
            return smallest
        if self.auto_range and abs(value) < NEAR_CHANGE * smallest.full_scale:
            return smallest
        same = (r for r in able if math.isclose(r.resolution, typed_resolution, rel_tol=1e-6))
        return next(same, smallest)

    def limit(self, quantity: Quantity) -> float | None:
        """What "OL" is known to exceed: the largest range of an auto-ranging meter, the smallest of
        a hand-set one, since which range was set is not known. None without such a function."""
        ranges = self.ranges(quantity)
        if not ranges:
            return None
        return ranges[-1 if self.auto_range else 0].full_scale

    def budget(
        self,
        quantity: Quantity,
        value: float,
        range_name: str | None = None,
        *,
        typed_resolution: float | None = None,
        frequency: float | None = None,
    ) -> Budget:
        """The budget of one reading `value` (base unit) on a named range or the one it fits.

        Raises ValueError if the meter lacks the function, the range, or a range large enough.
        """
        ranges = self.ranges(quantity)
        if not ranges:
            has = ", ".join(q for q, _ in self.functions)
            raise ValueError(f"{self.name} has no function {quantity}; it has {has}")
        chosen = next((r for r in ranges if r.name == range_name), None)
        if range_name is not None and chosen is None:
            names = ", ".join(r.name for r in ranges)
            raise ValueError(f"{self.name} has no {quantity} range {range_name!r}; it has {names}")
        chosen = chosen or self.range_for(quantity, value)
        if chosen is None:
            shown = format_value(value, DIMENSION_OF[quantity])
            raise ValueError(f"{self.name} ends at {ranges[-1].name} for {quantity}; got {shown}")
        return self._budget(quantity, value, chosen, typed_resolution or 0.0, frequency)

    def u_at(self, quantity: Quantity, values: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """(u_random, u_shared, full_scale) for expected readings, each in the shape of `values`.

        As `budget` without frequency and typed digits. Beyond the largest range: that range.
        Raises ValueError if the meter lacks the function.
        """
        ranges = self.ranges(quantity)
        if not ranges:
            raise ValueError(f"{self.name} has no function {quantity}")
        v = np.abs(np.asarray(values, dtype=np.float64))
        table = np.array([(r.full_scale, r.resolution, r.pct, r.counts) for r in ranges])
        index = np.minimum(np.searchsorted(table[:, 0], v), len(ranges) - 1)
        full, res, pct, counts = np.moveaxis(table[index], -1, 0)
        accuracy = (pct / 100 * v + counts * res) ** 2 / 3
        random = accuracy * (1 - self.shared_share) + res**2 / 12
        shared = accuracy * self.shared_share
        if quantity == "ohms":
            random = random + self.contact_ohms**2 / 3
            if not self.zeroed:
                shared = shared + self.lead_ohms**2 / 3
        if quantity == "ac_volts":
            floor = self.ac_floor_pct / 100 * full
            random = random + np.where(v < floor, floor, 0.0) ** 2 / 3
            if not self.true_rms:
                shared = shared + (WAVE_SHAPE * v) ** 2 / 3
        return np.sqrt(random), np.sqrt(shared), full

    def _budget(
        self,
        quantity: Quantity,
        value: float,
        chosen: MeterRange,
        typed_resolution: float,
        frequency: float | None,
    ) -> Budget:
        dimension = DIMENSION_OF[quantity]
        half = chosen.half_width(value)
        sheet = f"±({chosen.pct:g} % + {chosen.counts:g} counts)"
        rows = [
            rectangle(
                "accuracy, common part",
                half * math.sqrt(self.shared_share),
                "shared",
                f"{sheet}, {self.shared_share:.0%} of its variance",
            ),
            rectangle(
                "accuracy, each time",
                half * math.sqrt(1 - self.shared_share),
                "random",
                f"{sheet}, the rest",
            ),
        ]
        digit = max(chosen.resolution, typed_resolution)
        last = "last digit shown" if digit == chosen.resolution else "last digit typed"
        rows.append(
            rectangle("display", digit / 2, "random", f"{last} {format_value(digit, dimension, 3)}")
        )
        correction = 0.0
        if quantity == "ohms":
            rows += self._lead_rows()
            correction = 0.0 if self.zeroed else -self.lead_ohms
        elif quantity == "ac_volts":
            rows += self._ac_rows(value, chosen)
            if frequency is not None and self.ac_bandwidth is not None:
                correction = value * (math.hypot(1.0, frequency / self.ac_bandwidth) - 1)
                why = f"half of the correction for {frequency:.4g} Hz"
                rows.append(rectangle("AC bandwidth", abs(correction) / 2, "shared", why))
        return Budget(dimension, value, tuple(rows), chosen.name, chosen.full_scale, correction)

    def _lead_rows(self) -> list[BudgetRow]:
        rows = [rectangle("probe contact", self.contact_ohms, "random", "each touch differs")]
        if not self.zeroed:
            why = "not zeroed: reads high by 0 to twice this"
            rows.append(rectangle("leads", self.lead_ohms, "shared", why))
        return rows

    def _ac_rows(self, value: float, chosen: MeterRange) -> list[BudgetRow]:
        rows = []
        floor = self.ac_floor_pct / 100 * chosen.full_scale
        if abs(value) < floor:
            why = f"below {self.ac_floor_pct:g} % of the range nothing is promised"
            rows.append(rectangle("AC floor", floor, "random", why))
        if not self.true_rms:
            why = "an averaging meter is right on a sine only"
            rows.append(rectangle("wave shape", WAVE_SHAPE * abs(value), "shared", why))
        return rows


def rough_budget(quantity: Quantity, value: float, typed_resolution: float = 0.0) -> Budget:
    """A budget without a sheet: a common-practice half-width (see ROUGH), half of its variance
    shared, and half the typed digit."""
    share, floor = ROUGH[quantity]
    half = share * abs(value) + floor
    why = "no meter sheet: common practice"
    rows = [
        rectangle("accuracy, common part", half * math.sqrt(0.5), "shared", why),
        rectangle("accuracy, each time", half * math.sqrt(0.5), "random", why),
        rectangle("typed digits", typed_resolution / 2, "random", "last digit typed"),
    ]
    return Budget(DIMENSION_OF[quantity], value, tuple(rows), None, None)


def averaging_error(wave: ArrayLike, *, blocks_dc: bool = False) -> float:
    """Relative error of an averaging meter on one period of a wave, even steps in time:
    pi / (2 sqrt 2) x mean |x| / rms - 1. `blocks_dc` takes the mean off first (AC-coupled input).

    Raises ValueError for an all-zero wave. Source: form factor of the sine, textbook.
    """
    x = np.asarray(wave, dtype=np.float64)
    if blocks_dc:
        x = x - x.mean()
    rms = float(np.sqrt(np.mean(x**2))) if x.size else 0.0
    if rms == 0.0:
        raise ValueError("the wave is zero everywhere; give one period with a signal in it")
    return math.pi / (2 * math.sqrt(2)) * float(np.mean(np.abs(x))) / rms - 1
