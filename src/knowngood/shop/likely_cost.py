"""What a job is likely to cost, from the ends its plan can come to. Pure: chances, minutes, money.

The expected figure is the sum over all ends; the bad case is a quantile: the least total that so
large a share of the chances does not pass. Both are exact for the ends that are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

BAD_CASE: Final = 0.9
_CENT: Final = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class End:
    """One end of the plan: its chance, minutes from now to it, what the parts fitted there cost."""

    chance: float
    minutes: float
    parts: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class LikelyCost:
    """Minutes and money before tax. `share`: of the chances that the bad case is not passed in."""

    minutes: float
    bad_minutes: float
    labour: Decimal
    parts: Decimal
    bad_total: Decimal
    share: float

    @property
    def total(self) -> Decimal:
        return self.labour + self.parts


def likely_cost(ends: Sequence[End], rate: Decimal, share: float = BAD_CASE) -> LikelyCost:
    """Expected and bad case over the ends, whose chances are brought to a sum of 1.

    `rate`: money an hour. Minutes and money have their bad case each by itself. Raises ValueError
    without an end of a chance above 0, or a share that is not between 0 and 1.
    """
    whole = sum(end.chance for end in ends)
    if not whole > 0 or any(end.chance < 0 or end.minutes < 0 for end in ends):
        raise ValueError("give at least one end with a chance above 0, and no minutes below 0")
    if not 0 < share < 1:
        raise ValueError(f"a share of {share}; give one between 0 and 1, such as 0.9")
    minutes = sum(end.chance * end.minutes for end in ends) / whole
    parts = sum((Decimal(repr(e.chance / whole)) * e.parts for e in ends), Decimal(0))
    labour = Decimal(repr(minutes)) * rate / 60
    totals = [(e.parts + Decimal(repr(e.minutes)) * rate / 60, e.chance / whole) for e in ends]
    times = [(Decimal(repr(e.minutes)), e.chance / whole) for e in ends]
    return LikelyCost(
        minutes, float(_quantile(times, share)), labour.quantize(_CENT, ROUND_HALF_UP),
        parts.quantize(_CENT, ROUND_HALF_UP),
        _quantile(totals, share).quantize(_CENT, ROUND_HALF_UP), share,
    )  # fmt: skip


def _quantile(values: Sequence[tuple[Decimal, float]], share: float) -> Decimal:
    """The least value that at least this share of the chances does not pass."""
    reached = 0.0
    for value, chance in sorted(values):
        reached += chance
        if reached >= share - 1e-12:
            return value
    return max(value for value, _ in values)
