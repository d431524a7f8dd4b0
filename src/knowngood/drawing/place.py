"""Whole numbers for places, so that what belongs together lies close together.

The task of the network simplex method in layered drawing (Gansner, Koutsofios, North and Vo 1993,
"A technique for drawing directed graphs", section 4), handed to a solver of linear programmes.
Every constraint is a difference of two unknowns, so a corner of the feasible set is in whole
numbers by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array


@dataclass(frozen=True, slots=True)
class Apart:
    """Unknown `second` is at least `gap` above unknown `first`."""

    first: int
    second: int
    gap: int


@dataclass(frozen=True, slots=True)
class Span:
    """The distance from the lowest to the highest of `ends` (unknown, offset) costs `weight`."""

    weight: float
    ends: tuple[tuple[int, int], ...]


def places(
    count: int, apart: Sequence[Apart], spans: Sequence[Span], pull: float = 0.01
) -> list[int] | None:
    """`count` numbers from 0 up with the least total of spans; None if `apart` has no solution.

    `pull` is the price of one step away from 0.
    """
    if count == 0:
        return []
    n = count + 2 * len(spans)  # and the low and high end of each span
    rows: list[int] = []
    columns: list[int] = []
    signs: list[float] = []
    bounds: list[float] = []

    def at_most(plus: int, minus: int, limit: float) -> None:
        rows.extend((len(bounds), len(bounds)))
        columns.extend((plus, minus))
        signs.extend((1.0, -1.0))
        bounds.append(limit)

    price = np.zeros(n)
    price[:count] = pull
    for one in apart:
        if one.first == one.second:
            return None
        at_most(one.first, one.second, -one.gap)
    for k, span in enumerate(spans):
        low, high = count + 2 * k, count + 2 * k + 1
        price[low], price[high] = -span.weight, span.weight
        for unknown, offset in span.ends:
            at_most(unknown, high, -offset)
            at_most(low, unknown, offset)
    if not bounds:
        return [0] * count
    matrix = coo_array((signs, (rows, columns)), shape=(len(bounds), n)).tocsr()
    limits = [(0, None)] * count + [(None, None)] * (2 * len(spans))
    found = linprog(price, A_ub=matrix, b_ub=bounds, bounds=limits, method="highs-ds")
    if found.x is None:
        return None
    return [round(float(x)) for x in found.x[:count]]
