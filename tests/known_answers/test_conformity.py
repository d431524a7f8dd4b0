"""Conformity and risks: examples in the style of JCGM 106:2012.

The inputs are from memory of that guide; the probabilities were computed with scipy, the global
risks with scipy and a second uncertainty library (agreement 1e-12).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from knowngood.calculate.verdict import conformity, global_risk


def test_one_upper_limit() -> None:
    assert conformity(-5.47, 0.05, upper=-5.40).p_good == pytest.approx(0.9192, abs=5e-5)


def test_two_limits() -> None:
    assert conformity(13.6, 1.8, 12.5, 16.3).p_good == pytest.approx(0.6626, abs=5e-5)


@pytest.mark.parametrize(
    ("guard", "consumer", "producer"), [(0.0, 0.018942, 0.037208), (0.04, 0.004334, 0.114657)]
)
def test_resistors_of_1500_ohm(guard: float, consumer: float, producer: float) -> None:
    risk = global_risk(1500.0, 0.12, 0.04, 1499.8, 1500.2, guard=guard)
    assert risk.consumer == pytest.approx(consumer, abs=5e-7)
    assert risk.producer == pytest.approx(producer, abs=5e-7)


def test_global_risks_agree_with_the_bivariate_normal() -> None:
    mean, process, meter, limit, guard = 12.1, 0.4, 0.15, 12.5, 0.1
    cov = [[process**2, process**2], [process**2, process**2 + meter**2]]
    both = multivariate_normal([mean, mean], cov)
    good_and_accepted = both.cdf([limit, limit - guard])
    accepted = norm.cdf(limit - guard, mean, np.sqrt(cov[1][1]))
    good = norm.cdf(limit, mean, process)
    risk = global_risk(mean, process, meter, upper=limit, guard=guard)
    assert risk.consumer == pytest.approx(accepted - good_and_accepted, abs=1e-7)
    assert risk.producer == pytest.approx(good - good_and_accepted, abs=1e-7)
