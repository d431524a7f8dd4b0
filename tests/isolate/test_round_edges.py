"""Edges for paper: the roundest number between what the forecasts reach, never finer than u."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from knowngood.isolate.round_edges import MOVED, round_edges

Array = NDArray[np.float64]


def below(*middles: float, u: float = 0.1):  # type: ignore[no-untyped-def]
    """Forecasts at these values, as broad as the meter is."""
    return lambda x: np.array([norm.cdf(x, m, u) for m in middles])


def flat(u: float):  # type: ignore[no-untyped-def]
    return lambda x: np.full(len(x), u)


@pytest.mark.parametrize(
    ("edge", "middles", "u", "round_one"),
    [
        (5.37, (0.0, 12.0), 0.1, 5.0),
        (11.62, (11.3, 12.0), 0.1, 11.6),  # no room for a rounder one
        (0.000502, (0.0, 0.005), 0.0001, 0.0005),
        (-0.034, (-0.2, 0.2), 0.05, 0.0),
        (47.12, (46.0, 55.0), 0.3, 50.0),
    ],
)
def test_the_roundest_that_parts_as_well(
    edge: float, middles: tuple[float, ...], u: float, round_one: float
) -> None:
    found = round_edges([edge], below(*middles, u=u), flat(u))
    assert found == [pytest.approx(round_one)]
    p = below(*middles, u=u)(np.array([edge, found[0]]))
    if edge != 11.62:
        assert np.abs(p[:, 0] - p[:, 1]).max() <= MOVED


def test_edges_closer_than_the_meter_tells_fall_together_and_keep_their_order() -> None:
    found = round_edges([1.001, 1.003, 4.2], below(1.0, 1.002, 1.004, 8.0, u=0.5), flat(0.5))
    assert found[0] == found[1] <= found[2]
