"""Where a good machine reads: what was believed before, and readings by meters that err.

The model, all of it normal. Good machines differ: their true value is mean + sd x e. A reading adds
the meter: an error of its own (`u_random`) and one that all readings on the same meter and range
have in common (`u_shared`). Before the first reading

    sd^2 ~ scaled inverse chi-square(spread_worth, spread^2)
    mean ~ N(prior mean, spread^2 / mean_worth)

each for itself, so that good machines which read elsewhere than expected are not taken for good
machines which differ more. (`calculate.tolerance.predictive` ties the two together, which has a
closed form.) For a given sd all readings and the next true value are jointly normal, so they are
conditioned exactly (Woodbury's identity: a diagonal and one column a meter); the sd itself is
summed over a fine grid. Sources: Gelman et al., Bayesian Data Analysis, 3.3 and the semi-conjugate
prior there (from memory); JCGM 100 F.1.2.3 for errors in common.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from knowngood.calculate.tolerance import Prior
from knowngood.isolate.forecast import Piece

Array = NDArray[np.float64]

MEAN_WORTH: Final = 1.0
SPREAD_WORTH: Final = 3.0
"""What was expected before counts as so many readings: one for the middle, three for the spread."""
NODES: Final = 181
STRATA: Final = (0.0, 0.3, 0.6, 0.8, 0.92, 0.98, 0.998, 1.0)
"""Shares of the posterior of sd at which the predictive is cut into normal pieces."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A reading in base units. `meter` names the meter and range whose error it shares; `own` is
    what this machine adds for itself beside the spread (its charge, say), a standard deviation."""

    value: float
    u_random: float = 0.0
    u_shared: float = 0.0
    meter: str = ""
    own: float = 0.0


@dataclass(frozen=True, slots=True)
class Ahead:
    """Where the next one falls: a mixture of normal distributions with a common origin."""

    weights: Array
    means: Array
    sds: Array

    def below(self, value: float) -> float:
        """Probability that the next one is below `value`."""
        return float(self.weights @ ndtr((value - self.means) / self.sds))

    def beyond(self, value: float) -> float:
        """Two-sided probability of one at least as far out as `value`."""
        below = self.below(value)
        above = float(self.weights @ ndtr((self.means - value) / self.sds))
        return min(1.0, 2.0 * min(below, above))

    @property
    def mean(self) -> float:
        return float(self.weights @ self.means)

    @property
    def sd(self) -> float:
        """Standard deviation; of the grid, and so finite where the exact one is not."""
        second = float(self.weights @ (self.sds**2 + self.means**2))
        return math.sqrt(max(second - self.mean**2, 0.0))

    def quantile(self, p: float) -> float:
        """The value below which the next one falls with probability `p`, 0 < p < 1."""
        if not 0 < p < 1:
            raise ValueError(f"p = {p:g} must lie between 0 and 1, such as 0.975")
        far = 40.0 * float(self.sds.max())
        low, high = float(self.means.min()) - far, float(self.means.max()) + far
        return float(brentq(lambda x: self.below(x) - p, low, high, xtol=1e-12 * (high - low)))

    def interval(self, share: float) -> tuple[float, float]:
        """The middle interval that holds the next one with probability `share`."""
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)

    def pieces(self) -> tuple[Piece, ...]:
        """The same in a few normal pieces, narrow to wide, shares summing to 1."""
        order = np.argsort(self.sds)
        w, m, s = self.weights[order], self.means[order], self.sds[order]
        upto = np.cumsum(w)
        found, start = [], 0.0
        for low, high in pairwise(STRATA):
            # The share of each node that lies between these two shares of the whole.
            part = np.clip(np.minimum(upto, high) - np.maximum(upto - w, low), 0.0, None)
            share = float(part.sum())
            if share <= 0:
                continue
            mean = float(part @ m) / share
            second = float(part @ (s * s + m * m)) / share
            found.append(Piece("around", mean, math.sqrt(max(second - mean**2, 0.0)), share))
            start += share
        return tuple(Piece(p.kind, p.low, p.high, p.share / start) for p in found)


def prior_from(low: float, high: float, share: float = 0.95) -> Prior:
    """The prior whose first prediction holds the same middle `share` as what was expected: `low` to
    `high`. It is worth `MEAN_WORTH` and `SPREAD_WORTH` readings. Raises ValueError for ends that
    are not finite or not in order."""
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ValueError(f"expected {low:g} to {high:g}: two finite ends, the lower first")
    return Prior((low + high) / 2, (high - low) / 2 / _reach(share), MEAN_WORTH, SPREAD_WORTH)


@lru_cache(maxsize=16)
def _reach(share: float) -> float:
    """Half the middle `share` of the first prediction, for a spread of one."""
    first = _ahead(Prior(0.0, 1.0, MEAN_WORTH, SPREAD_WORTH), (), None)
    return first.quantile((1 + share) / 2)


def ahead(prior: Prior, seen: Sequence[Seen], new: Seen | None = None) -> Ahead:
    """Where the true value of the next good machine falls after these readings; with `new` (its
    value is not looked at) where that reading falls, with its meter's errors.

    Raises ValueError for a number that is not finite, an uncertainty below zero, or a prior without
    spread.
    """
    _check(prior, seen if new is None else [*seen, new])
    return _ahead(prior, seen, new)


def _check(prior: Prior, seen: Sequence[Seen]) -> None:
    if not (prior.spread > 0 and prior.mean_worth > 0 and prior.spread_worth > 0):
        raise ValueError(f"spread and worths of the prior must be above zero: {prior}")
    for one in seen:
        if not math.isfinite(one.value + one.u_random + one.u_shared + one.own):
            raise ValueError(f"a reading is not finite: {one}")
        if min(one.u_random, one.u_shared, one.own) < 0:
            raise ValueError(f"an uncertainty is below zero: {one}")


def _ahead(prior: Prior, seen: Sequence[Seen], new: Seen | None) -> Ahead:
    y = np.array([s.value for s in seen]) - prior.mean
    errors = np.array([s.u_random**2 + s.own**2 for s in seen])
    meters = list(dict.fromkeys(s.meter for s in seen if s.u_shared > 0))
    columns = np.zeros((len(seen), len(meters)))
    for i, s in enumerate(seen):
        if s.u_shared > 0:
            columns[i, meters.index(s.meter)] = s.u_shared
    sd = _grid(prior, y)
    n, v = len(seen), (sd * sd)[:, None]
    # (g, n): 1 / own variance. The shared columns: of the mean for all, then of each meter.
    inverse = 1.0 / (v + errors)
    u = np.concatenate([np.ones((n, 1)), columns], axis=1)
    common = prior.spread**2 / prior.mean_worth
    scale = np.ones(u.shape[1])
    scale[0] = math.sqrt(common)
    # C = D + U S^2 U' with S = scale: inverse and determinant by the small I + S U' D^-1 U S.
    inner = np.einsum("ni,gn,nj->gij", u, inverse, u) * np.outer(scale, scale)
    inner += np.eye(u.shape[1])
    _, logdet = np.linalg.slogdet(inner)
    cross = np.full((len(sd), n), common)
    if new is not None and new.u_shared > 0:
        same = np.array([s.u_shared * (s.meter == new.meter) for s in seen])
        cross = cross + new.u_shared * same

    def solved(b: Array) -> Array:
        """C^-1 b for each node; b and the result (g, n)."""
        small = np.einsum("ni,gn->gi", u, inverse * b) * scale
        back = np.linalg.solve(inner, small[:, :, None])[:, :, 0] * scale
        return np.asarray(inverse * (b - back @ u.T))

    rest = solved(np.broadcast_to(y, (len(sd), n)))
    log = -0.5 * (rest @ y) - 0.5 * logdet + 0.5 * np.log(inverse).sum(axis=1)
    # Density of log sd under the scaled inverse chi-square.
    log += -prior.spread_worth * (np.log(sd) + prior.spread**2 / (2 * sd * sd))
    weights = np.exp(log - log.max())
    weights /= weights.sum()
    means = prior.mean + np.einsum("gn,gn->g", cross, rest)
    whole = sd * sd + common
    if new is not None:
        whole = whole + new.u_random**2 + new.u_shared**2 + new.own**2
    left = whole - np.einsum("gn,gn->g", cross, solved(cross))
    keep = weights > 1e-12
    sds = np.sqrt(np.maximum(left[keep], 1e-300))
    return Ahead(weights[keep] / weights[keep].sum(), means[keep], sds)


def _grid(prior: Prior, y: Array) -> Array:
    """Values of sd, evenly spaced in its logarithm, over all that could matter: what was believed
    before bounds it from below (readings all alike prove no smaller spread), the readings above."""
    low = prior.spread * math.sqrt(prior.spread_worth / (prior.spread_worth + y.size + 1)) / 8
    far = max(prior.spread, float(np.sqrt(np.mean(y * y))) if y.size else 0.0)
    return np.geomspace(low, 60.0 * far, NODES)
