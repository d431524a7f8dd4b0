"""Band edges for paper: the roundest number that parts the forecasts as well as the exact edge.

Where two forecasts are equally probable lies somewhere, say at 2.85 mV; between 1 mV and 9 mV no
forecast may reach, so "2 mV" says the same and is read at a glance. No edge is finer than the
meter's own uncertainty there, and bands that such edges cannot tell apart become one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOVED = 0.02
"""Probability that a reading of any forecast changes its band with the rounder edge."""
_STEPS: tuple[tuple[float, ...], ...] = (
    (1.0, 2.0, 5.0),
    tuple(float(d) for d in range(1, 10)),
    tuple(d / 2 for d in range(2, 20)),
    tuple(d / 10 for d in range(10, 100)),
    tuple(d / 100 for d in range(100, 1000)),
)


def round_edges(
    edges: Sequence[float], below: Callable[[Array], Array], u: Callable[[Array], Array],
    fixed: Sequence[float] = (),
) -> list[float]:  # fmt: skip
    """The inner ``edges`` (rising, base units) as round numbers, rising too; neighbours that fall
    together stay in the list, so the bands keep their places. Those that are ``fixed`` stay, and
    none goes past them.

    ``below``: P(shown <= x) of each forecast, shape (forecasts, q) for x of shape (q,). ``u``: the
    meter's standard uncertainty there, (q,).
    """
    done: list[float] = []
    for edge in edges:
        coarse = float(u(np.array([edge]))[0])
        found = edge if edge in fixed else _roundest(edge, coarse, below)
        found = min([found, *(f for f in fixed if f >= edge)])
        done.append(max(found, done[-1]) if done else found)
    return done


def _roundest(edge: float, coarse: float, below: Callable[[Array], Array]) -> float:
    tried: list[tuple[float, ...]] = [(0.0,)] if abs(edge) < coarse else []
    tried += [_around(edge, digits) for digits in _STEPS]
    step = legible_step(coarse)
    last = float(f"{round(edge / step) * step:.6g}")
    at = np.array([edge, *(x for some in tried for x in some), last])
    p = below(at)
    moved = np.abs(p - p[:, :1]).max(axis=0, initial=0.0)[1:]
    k = 0
    for some in tried:
        fit = [x for i, x in enumerate(some) if moved[k + i] <= MOVED and _coarse(x, edge, coarse)]
        k += len(some)
        if fit:
            return min(fit, key=lambda x: (abs(x - edge), x))
    return last


def _around(edge: float, digits: Sequence[float]) -> tuple[float, ...]:
    """The numbers with these leading digits on either side of the edge."""
    size = abs(edge)
    if size == 0 or not math.isfinite(size):
        return (edge,)
    ten = 10.0 ** math.floor(math.log10(size))
    marks = sorted([*(d * ten for d in digits), digits[-1] * ten / 10, digits[0] * ten * 10])
    low = max((m for m in marks if m <= size * (1 + 1e-12)), default=marks[0])
    high = min((m for m in marks if m >= size * (1 - 1e-12)), default=marks[-1])
    return tuple(math.copysign(float(f"{m:.3g}"), edge) for m in dict.fromkeys((low, high)))


def _coarse(x: float, edge: float, coarse: float) -> bool:
    """A number of no more digits than the meter can tell."""
    step = legible_step(coarse)
    return x == 0 or abs(x / step - round(x / step)) < 1e-6


def legible_step(coarse: float) -> float:
    """1, 2 or 5 times a power of ten, not below the uncertainty."""
    if not coarse > 0 or not math.isfinite(coarse):
        return 1e-9
    ten = 10.0 ** math.floor(math.log10(coarse))
    return next(d * ten for d in (1.0, 2.0, 5.0, 10.0) if d * ten >= coarse * (1 - 1e-9))
