"""Good, bad or can't tell: conformity of one reading with its limits (JCGM 106:2012).

The reading is taken as a normal distribution about `value` with standard uncertainty `u`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from scipy.special import ndtr, ndtri

Verdict = Literal["good", "bad", "can't tell"]

SURE: Final = 0.95
"""Probability from which a verdict is given (JCGM 106 leaves it to the user; common practice)."""


@dataclass(frozen=True, slots=True)
class Conformity:
    """`p_good`: probability that the true value is inside the limits (JCGM 106, 7).

    `guard` is the width kept off each limit by a verdict of good (8.3.2), in the unit of the
    value: inside the limits drawn in by it, a reading against one limit is good. The specific
    risks are those of accepting and of rejecting this very item (9.3.1): 1 - p_good and p_good.
    """

    p_good: float
    verdict: Verdict
    guard: float
    consumer_risk_specific: float
    producer_risk_specific: float


@dataclass(frozen=True, slots=True)
class GlobalRisk:
    """Chances for an item not yet measured: bad but accepted, good but rejected (JCGM 106, 9.5)."""

    consumer: float
    producer: float


def conformity(
    value: float,
    u: float,
    lower: float | None = None,
    upper: float | None = None,
    *,
    sure: float = SURE,
) -> Conformity:
    """Conformity of `value` (standard uncertainty `u`, same unit) with one or two limits.

    "good" if the probability inside is at least `sure`, "bad" if the probability outside is.
    Raises ValueError without a limit, for limits in the wrong order, u below zero, a value that is
    not finite, or `sure` outside 0.5 to 1. Source: JCGM 106:2012, 7.3, 7.4.
    """
    low, high = _limits(lower, upper)
    if not math.isfinite(value) or not math.isfinite(u) or u < 0:
        raise ValueError(f"value {value} and u {u} must be finite, u zero or more")
    if not 0.5 < sure < 1:
        raise ValueError(f"sure = {sure} must lie between 0.5 and 1, such as 0.95")
    inside, outside = _inside(value, u, low, high)
    verdict: Verdict = "can't tell"
    if inside >= sure:
        verdict = "good"
    elif outside >= sure:
        verdict = "bad"
    return Conformity(inside, verdict, float(ndtri(sure)) * u, outside, inside)


def global_risk(
    mean: float,
    process_u: float,
    meter_u: float,
    lower: float | None = None,
    upper: float | None = None,
    *,
    guard: float = 0.0,
) -> GlobalRisk:
    """Consumer's and producer's risk for items spread normally about `mean` with standard deviation
    `process_u`, measured with `meter_u`, accepted inside the limits drawn in by `guard` (negative:
    let out). All in one unit. Source: JCGM 106:2012, 9.5, equations 15 to 18.

    Raises ValueError for a spread that is not above zero or a guard that leaves nothing accepted.
    """
    from scipy.integrate import quad  # a slow import, and a bench session never comes here

    low, high = _limits(lower, upper)
    if not process_u > 0 or not meter_u > 0:
        raise ValueError(f"process_u {process_u} and meter_u {meter_u} must be above zero")
    accept_low, accept_high = low + guard, high - guard
    if not accept_low < accept_high:
        raise ValueError(f"a guard of {guard} leaves nothing to accept between {low} and {high}")

    def accepted(y: float) -> float:
        return float(ndtr((accept_high - y) / meter_u) - ndtr((accept_low - y) / meter_u))

    def density(y: float) -> float:
        z = (y - mean) / process_u
        return math.exp(-z * z / 2) / (process_u * math.sqrt(2 * math.pi))

    far = 12 * math.hypot(process_u, meter_u)
    ends = (mean - far, mean + far)
    consumer = producer = 0.0
    cuts = sorted({*ends, *(c for c in (low, high, accept_low, accept_high, mean)
                            if ends[0] < c < ends[1])})  # fmt: skip
    for a, b in pairwise(cuts):
        if low <= (a + b) / 2 <= high:
            producer += quad(lambda y: density(y) * (1 - accepted(y)), a, b, epsabs=1e-13)[0]
        else:
            consumer += quad(lambda y: density(y) * accepted(y), a, b, epsabs=1e-13)[0]
    return GlobalRisk(consumer, producer)


def _limits(lower: float | None, upper: float | None) -> tuple[float, float]:
    if lower is None and upper is None:
        raise ValueError("give a lower limit, an upper limit, or both")
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    if math.isnan(low) or math.isnan(high) or low >= high:
        raise ValueError(f"the lower limit {lower} must be below the upper limit {upper}")
    return low, high


def _inside(value: float, u: float, low: float, high: float) -> tuple[float, float]:
    if u == 0:
        inside = 1.0 if low <= value <= high else 0.0
        return inside, 1 - inside
    below = float(ndtr((low - value) / u))
    above = float(ndtr((value - high) / u))
    # Subtract on the side where both terms are small, so that no digits are lost.
    if value > high:
        inside = float(ndtr((high - value) / u)) - below
    elif value < low:
        inside = float(ndtr((value - low) / u)) - above
    else:
        inside = 1 - below - above
    return max(inside, 0.0), min(below + above, 1.0)
