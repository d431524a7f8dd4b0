"""How many of a part to keep, and how many to buy for the last time.

Demand while an order is under way is counted, so it is taken as Poisson when it varies no more than
that, and as negative binomial when it varies more. Sources beside each function.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from scipy import stats


@dataclass(frozen=True, slots=True)
class Demand:
    """Parts used in a time: `mean` and `variance` of the count. A variance of at most the mean is
    Poisson; above it negative binomial with the same two moments."""

    mean: float
    variance: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean) and self.mean >= 0):
            raise ValueError(f"a demand of {self.mean}; give 0 or more")
        if not (math.isfinite(self.variance) and self.variance >= 0):
            raise ValueError(f"a variance of {self.variance}; give 0 or more")

    def over(self, periods: float, varying: float = 0.0) -> Demand:
        """The demand of `periods` such times that vary with standard deviation `varying`.

        Mean and variance of a random sum (Hadley & Whitin, Analysis of Inventory Systems, 1963,
        chapter 3): E = m L, var = v L + m^2 s^2.
        """
        return Demand(
            self.mean * periods, self.variance * periods + (self.mean * varying) ** 2
        )

    @property
    def law(self) -> Any:
        """The frozen distribution of the count, of scipy."""
        if self.mean == 0:
            return stats.poisson(0.0)
        if self.variance <= self.mean * (1 + 1e-9):
            return stats.poisson(self.mean)
        p = self.mean / self.variance
        return stats.nbinom(self.mean * p / (1 - p), p)


def demand_of(counts: Sequence[int]) -> Demand:
    """Mean and variance (n - 1) of counts in equal times. Raises ValueError below two of them."""
    if len(counts) < 2:
        raise ValueError(f"{len(counts)} times of demand; at least two are needed")
    if min(counts) < 0:
        raise ValueError(f"a count of {min(counts)}; parts that came back are not demand")
    mean = sum(counts) / len(counts)
    return Demand(mean, sum((c - mean) ** 2 for c in counts) / (len(counts) - 1))


@dataclass(frozen=True, slots=True)
class Reorder:
    """Order when stock and what is on order fall to `point`. `service`: the chance that this
    lasts until the order is there. `spare`: how much of it is above the mean."""

    point: int
    service: float
    mean: float
    spare: float


def reorder_point(during_lead: Demand, service: float) -> Reorder:
    """The least count that covers the demand of the lead time with at least this chance."""
    _chance(service)
    law = during_lead.law
    point = int(law.ppf(service))
    while point > 0 and float(law.cdf(point - 1)) >= service:
        point -= 1
    return Reorder(point, float(law.cdf(point)), during_lead.mean, point - during_lead.mean)


@dataclass(frozen=True, slots=True)
class LastBuy:
    """`count` to buy, `ratio` the critical ratio, `cost` what too few and too many are expected to
    cost with this count."""

    count: int
    ratio: float
    cost: float


def last_buy(demand: Demand, too_few: float, too_many: float) -> LastBuy:
    """The newsvendor's count: the least one whose chance to suffice reaches cu / (cu + co).

    `too_few`: lost for each one missing; `too_many`: lost for each one left. Source: Arrow, Harris
    & Marschak, Econometrica 19 (1951); for counts see Snyder & Shen, Fundamentals of Supply Chain
    Theory, 2nd ed. 2019, section 4.3.
    """
    for name, value in (("too_few", too_few), ("too_many", too_many)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value}; give an amount above 0")
    ratio = too_few / (too_few + too_many)
    count = reorder_point(demand, ratio).point
    return LastBuy(count, ratio, expected_cost(demand, count, too_few, too_many))


def expected_cost(demand: Demand, count: int, too_few: float, too_many: float) -> float:
    """E[too_few (D - count)+ + too_many (count - D)+]."""
    law = demand.law
    short = demand.mean - sum(float(law.sf(k)) for k in range(count))
    left = count - demand.mean + short
    return too_few * max(short, 0.0) + too_many * max(left, 0.0)


def _chance(service: float) -> None:
    if not 0 < service < 1:
        raise ValueError(f"a service of {service}; give a chance between 0 and 1, as 0.95")
