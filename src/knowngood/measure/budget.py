"""An uncertainty budget: where the doubt of one reading comes from, row by row.

Terms as in the GUM (JCGM 100:2008): a half-width `value` over its `divisor` is the standard
uncertainty `u`; a rectangle has divisor sqrt(3) (4.3.7).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from knowngood.measure.unit_table import BASE_UNIT, Dimension
from knowngood.measure.units import format_value

Share = Literal["random", "shared"]


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source of doubt: half-width `value` and standard uncertainty `u` in the base unit.

    "shared" rows move all readings on one meter, function and range together.
    """

    source: str
    value: float
    distribution: Literal["rectangular", "normal"]
    divisor: float
    u: float
    share: Share
    why: str


@dataclass(frozen=True, slots=True)
class Budget:
    """The rows for one reading. `correction`: add it to the reading to estimate the thing itself
    (leads, AC bandwidth); the reading itself stays as shown."""

    dimension: Dimension
    value: float
    rows: tuple[BudgetRow, ...]
    range_name: str | None
    full_scale: float | None
    correction: float = 0.0

    @property
    def u_random(self) -> float:
        return _root_sum(r.u for r in self.rows if r.share == "random")

    @property
    def u_shared(self) -> float:
        return _root_sum(r.u for r in self.rows if r.share == "shared")

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return _root_sum(r.u for r in self.rows)


def rectangle(source: str, half_width: float, share: Share, why: str) -> BudgetRow:
    """A row for "anywhere within +- half_width"."""
    divisor = math.sqrt(3)
    return BudgetRow(source, half_width, "rectangular", divisor, half_width / divisor, share, why)


def budget_table(budget: Budget) -> str:
    """The budget as lines of text, one row a source, the sums at the end."""
    head = ("source", "half-width", "shape", "divisor", "u", "share", "why")
    body = [
        (
            row.source,
            format_value(row.value, budget.dimension, 3),
            row.distribution,
            f"{row.divisor:.3f}",
            format_value(row.u, budget.dimension, 3),
            row.share,
            row.why,
        )
        for row in budget.rows
    ]
    sums = [
        (name, "", "", "", format_value(u, budget.dimension, 3), share, "")
        for name, u, share in (
            ("changes each time", budget.u_random, "random"),
            ("common to all", budget.u_shared, "shared"),
            ("together", budget.u, ""),
        )
    ]
    lines = [head, *body, *sums]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    text = ["  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)) for line in lines]
    title = f"{format_value(budget.value, budget.dimension, 6)} on the {budget.range_name} range"
    if budget.range_name is None:
        title = f"{format_value(budget.value, budget.dimension, 6)}, no meter sheet"
    if budget.correction:
        fix = format_value(budget.correction, budget.dimension, 3)
        text.append(f"correction to add: {fix or BASE_UNIT[budget.dimension]}")
        best = format_value(budget.value + budget.correction, budget.dimension, 4)
        text.append(f"so taken as: {best} ± {format_value(2 * budget.u, budget.dimension, 2)}")
    return "\n".join([title, *(line.rstrip() for line in text)])


def _root_sum(values: Iterable[float]) -> float:
    return math.sqrt(sum(v * v for v in values))
