"""Uncertainty of a result worked out from several readings: GUM's law of propagation.

First order, with correlation (JCGM 100:2008, 5.2.2), by central differences.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def propagate(
    function: Callable[[Floats], ArrayLike], values: ArrayLike, covariance: ArrayLike
) -> tuple[Floats, Floats]:
    """(results, their covariance) of `function` at `values`.

    `values` has shape (n,), `covariance` (n, n) or, for independent inputs, (n,) standard
    uncertainties; `function` takes (n,) and gives m results. Returns shapes (m,) and (m, m). Steps
    are a thousandth of each standard uncertainty; an input without one is taken as exact.
    Raises ValueError for shapes that do not fit, a negative variance or a result not finite.
    """
    x = np.asarray(values, dtype=np.float64)
    cov = np.asarray(covariance, dtype=np.float64)
    if x.ndim == 1 and cov.shape == x.shape:
        cov = np.diag(cov**2)
    if x.ndim != 1 or cov.shape != (x.size, x.size):
        raise ValueError(f"{x.shape} values need a covariance of shape {(x.size, x.size)}")
    if np.any(np.diag(cov) < 0):
        raise ValueError("a variance is below zero")
    result = np.atleast_1d(np.asarray(function(x.copy()), dtype=np.float64))
    steps = 1e-3 * np.sqrt(np.diag(cov))
    jacobian = np.zeros((result.size, x.size))
    for i, step in enumerate(steps):
        if step == 0:
            continue
        up, down = x.copy(), x.copy()
        up[i] += step
        down[i] -= step
        with np.errstate(invalid="ignore"):
            rise = np.asarray(function(up), dtype=np.float64) - np.asarray(function(down))
        jacobian[:, i] = rise / (up[i] - down[i])
    if not (np.all(np.isfinite(result)) and np.all(np.isfinite(jacobian))):
        raise ValueError(f"no finite result at {x.tolist()}; check the inputs")
    return result, jacobian @ cov @ jacobian.T


def mean_and_covariance(rows: ArrayLike) -> tuple[Floats, Floats]:
    """(means, covariance of the means) of repeated readings taken together, one row a round.

    `rows` has shape (rounds, n), at least two rounds, else ValueError. Source: JCGM 100:2008,
    4.2 and 5.2.3.
    """
    data = np.asarray(rows, dtype=np.float64)
    if data.ndim != 2 or data.shape[0] < 2:
        raise ValueError(f"need at least two rounds of readings, got shape {data.shape}")
    return data.mean(axis=0), np.atleast_2d(np.cov(data, rowvar=False)) / data.shape[0]
