"""Limits from a shop's own readings: how far good ones spread, and where the next one should fall.

Two questions, two intervals. A *tolerance* interval holds, with a stated confidence, at least a
stated share of all good machines. A *predictive* distribution says where the next reading falls,
and starts at what was believed before the first. Both take readings as normal; far-off readings
are flagged, never dropped: whether one was a slip or a bad machine is for a person to say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, chndtrix, nctdtrit, ndtri, stdtr, stdtrit

SHARE: Final = 0.95
CONFIDENCE: Final = 0.95
"""Share of good machines and confidence used without another wish (common practice)."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)


@lru_cache(maxsize=512)
def two_sided_factor(
    n: int, share: float = SHARE, confidence: float = CONFIDENCE, dof: int | None = None
) -> float:
    """k so that mean +- k s of `n` normal readings holds at least `share` of all of them with
    `confidence`. `dof` of s is n - 1, more when it is pooled.

    Exact: the mean is off by z / sqrt(n), for each z the half-width that covers `share` is the root
    of a noncentral chi-square quantile, and the chance that k s reaches it is integrated over z.
    Raises ValueError for n under 2 or above 100 000, shares outside 0 to 1. Source: ISO 16269-6,
    table F; Krishnamoorthy & Mathew 2009, 2.3 (from memory).
    """
    free = _checked(n, share, confidence, dof)
    # z = sqrt(n) x error of the mean, standard normal; symmetric, so 0 to 8.5 twice.
    z = 4.25 * (_NODES + 1)
    weight = 4.25 * _WEIGHTS * np.sqrt(2 / np.pi) * np.exp(-z * z / 2)
    squared = chndtrix(share, 1, z * z / n)

    def excess(k: float) -> float:
        return float(np.sum(weight * chdtrc(free, free * squared / k**2))) - confidence

    rarely = float(chdtri(free, 1 - (1 - confidence) / 4))
    high = 2 * math.sqrt(free * float(squared.max()) / rarely)
    return float(brentq(excess, 1e-3, high, xtol=1e-12, rtol=1e-13))


@lru_cache(maxsize=512)
def one_sided_factor(
    n: int, share: float = SHARE, confidence: float = CONFIDENCE, dof: int | None = None
) -> float:
    """k so that mean + k s is above at least `share` of all with `confidence`: the quantile of
    noncentral t over sqrt(n). Below, mean - k s. Errors as `two_sided_factor`.

    Source: ISO 16269-6; Owen 1963.
    """
    free = _checked(n, share, confidence, dof)
    root = math.sqrt(n)
    return float(nctdtrit(free, root * ndtri(share), confidence)) / root


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Limits `low` and `high` (None on the open side) from `n` readings with `mean` and standard
    deviation `s`, factor `k`. `flagged` are the places in the list of readings that stand out."""

    low: float | None
    high: float | None
    mean: float
    s: float
    n: int
    k: float
    flagged: tuple[int, ...]


def tolerance_interval(
    values: Sequence[float],
    share: float = SHARE,
    confidence: float = CONFIDENCE,
    side: str = "both",
) -> Tolerance:
    """Limits that hold at least `share` of good machines with `confidence`, from readings of good
    ones. `side` is "both", "upper" or "lower". Flagged readings are included: look at them first.

    Stops being true where readings are not normal (a limit at 0, two models mixed) or come from one
    machine. Few readings give wide limits: 95/95 takes k = 36.5 for 2, 3.4 for 10, 2.1 for 200.
    Raises ValueError for fewer than 2 readings, one not finite, or another side.
    """
    x = _finite(values)
    if side not in ("both", "upper", "lower"):
        raise ValueError(f"side {side!r}: both, upper or lower")
    factor = two_sided_factor if side == "both" else one_sided_factor
    k = factor(x.size, share, confidence)
    mean, s = float(x.mean()), float(x.std(ddof=1))
    low = None if side == "upper" else mean - k * s
    high = None if side == "lower" else mean + k * s
    return Tolerance(low, high, mean, s, x.size, k, outliers(values))


def outliers(
    values: Sequence[float], alpha: float = 0.05, most: int | None = None
) -> tuple[int, ...]:
    """Places of readings that do not belong to one normal spread, the farthest first.

    Generalised extreme studentised deviate test: up to `most` (by default a fifth of them) are
    taken off one by one, each against its critical value at `alpha`; all up to the last that
    exceeds it are flagged, so that two cannot hide each other. Under 8 readings none is flagged:
    the test is not to be trusted there, and no test can be. Source: Rosner 1983 (critical values
    by Student t).
    """
    x = _finite(values)
    if not 0 < alpha < 0.5:
        raise ValueError(f"alpha = {alpha:g} is outside 0 to 0.5, such as 0.05")
    if x.size < 8:
        return ()
    left = list(range(x.size))
    taken: list[int] = []
    count = 0
    for i in range(1, (most if most is not None else max(x.size // 5, 1)) + 1):
        here = x[left]
        s = float(here.std(ddof=1))
        m = len(left)
        if s == 0 or m < 4:
            break
        far = int(np.argmax(np.abs(here - here.mean())))
        statistic = abs(float(here[far] - here.mean())) / s
        t = float(stdtrit(m - 2, 1 - alpha / (2 * m)))
        critical = (m - 1) * t / math.sqrt((m - 2 + t * t) * m)
        taken.append(left.pop(far))
        if statistic > critical:
            count = i
    return tuple(taken[:count])


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed before the first reading of a model: around `mean`, readings of good ones
    spread by `spread`; the first is worth `mean_worth` readings, the second `spread_worth`."""

    mean: float
    spread: float
    mean_worth: float = 1.0
    spread_worth: float = 3.0


@dataclass(frozen=True, slots=True)
class Predictive:
    """Where the next reading falls: Student t with `dof` degrees of freedom about `centre`, scaled
    by `scale` (unit of the reading)."""

    dof: float
    centre: float
    scale: float

    def interval(self, share: float = SHARE) -> tuple[float, float]:
        """The middle interval that holds the next reading with probability `share`."""
        if not 0 < share < 1:
            raise ValueError(f"share {share:g} must lie between 0 and 1, such as 0.95")
        half = self.scale * float(stdtrit(self.dof, (1 + share) / 2))
        return self.centre - half, self.centre + half

    def below(self, value: float) -> float:
        """Probability that the next reading is below `value`."""
        return float(stdtr(self.dof, (value - self.centre) / self.scale))


def predictive(prior: Prior, values: Sequence[float] = ()) -> Predictive:
    """Where the next reading of a good one falls, after `values` (none: the prior alone).

    Normal readings with unknown mean and variance, normal-inverse-gamma prior: the result is
    Student t, wide at first and closing on the shop's own readings. Raises ValueError for a spread
    or worth not above zero, or a reading not finite. Source: Gelman et al., Bayesian Data
    Analysis, 3.3 (from memory).
    """
    if not (prior.spread > 0 and prior.mean_worth > 0 and prior.spread_worth > 0):
        raise ValueError(f"spread and worths of the prior must be above zero: {prior}")
    if not math.isfinite(prior.mean + prior.spread + prior.mean_worth + prior.spread_worth):
        raise ValueError(f"the prior must be finite: {prior}")
    x = _finite(values, least=0)
    n = x.size
    worth, dof = prior.mean_worth + n, prior.spread_worth + n
    squares = prior.spread_worth * prior.spread**2
    centre = prior.mean
    if n:
        mean = float(x.mean())
        centre = (prior.mean_worth * prior.mean + n * mean) / worth
        squares += float(np.sum((x - mean) ** 2))
        squares += prior.mean_worth * n / worth * (mean - prior.mean) ** 2
    return Predictive(dof, centre, math.sqrt(squares / dof * (1 + 1 / worth)))


def _checked(n: int, share: float, confidence: float, dof: int | None) -> int:
    if not 2 <= n <= 100_000:
        raise ValueError(f"{n} readings: 2 to 100000; one says nothing about the spread")
    free = n - 1 if dof is None else dof
    if free < 1:
        raise ValueError(f"{free} degrees of freedom: 1 or more")
    for name, value in (("share", share), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} {value:g} must lie between 0 and 1, such as 0.95")
    return free


def _finite(values: Sequence[float], least: int = 2) -> np.ndarray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or x.size < least:
        raise ValueError(f"{x.size} reading(s): at least {least} are needed")
    if not np.all(np.isfinite(x)):
        raise ValueError("a reading is not finite; leave OL out and say why")
    return x
