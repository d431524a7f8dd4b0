"""Tolerance and predictive intervals keep their promise on drawn readings."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import norm

from knowngood.calculate.tolerance import (
    Prior,
    one_sided_factor,
    outliers,
    predictive,
    tolerance_interval,
    two_sided_factor,
)


@pytest.mark.parametrize("n", [2, 5, 20])
def test_the_promised_share_is_held_with_the_promised_confidence(n: int) -> None:
    random = np.random.default_rng(n)
    x = random.standard_normal((20_000, n))
    mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    k = two_sided_factor(n, 0.9, 0.95)
    held = norm.cdf(mean + k * s) - norm.cdf(mean - k * s)
    assert np.mean(held >= 0.9) == pytest.approx(0.95, abs=5e-3)
    k = one_sided_factor(n, 0.9, 0.95)
    assert np.mean(norm.cdf(mean + k * s) >= 0.9) == pytest.approx(0.95, abs=5e-3)


def test_limits_from_readings() -> None:
    values = [12.1, 12.3, 12.2, 12.4, 12.0, 12.2, 12.3, 12.1, 12.2, 12.3]
    both = tolerance_interval(values)
    assert both.low is not None and both.high is not None
    assert both.high - both.mean == pytest.approx(both.k * both.s)
    upper = tolerance_interval(values, side="upper")
    assert upper.low is None and upper.high is not None and upper.high < both.high
    assert tolerance_interval(values, side="lower").high is None
    assert both.flagged == ()


def test_what_stands_out_is_flagged_and_kept() -> None:
    values = [12.1, 12.3, 12.2, 12.4, 12.0, 12.2, 12.3, 12.1, 12.2, 15.3]
    found = tolerance_interval(values)
    assert found.flagged == (9,) and found.n == 10
    assert found.mean == pytest.approx(np.mean(values))


def test_false_flags_are_as_rare_as_said() -> None:
    random = np.random.default_rng(3)
    flagged = [bool(outliers([float(v) for v in random.standard_normal(25)])) for _ in range(1500)]
    assert np.mean(flagged) == pytest.approx(0.05, abs=0.02)


def test_flags_do_not_depend_on_unit_or_order() -> None:
    random = np.random.default_rng(11)
    x = [*random.standard_normal(18), 7.0, 8.0]
    assert set(outliers(x)) == {18, 19}
    assert set(outliers([1e-3 * v + 5 for v in x])) == {18, 19}
    assert {len(x) - 1 - i for i in outliers(x[::-1])} == {18, 19}
    assert outliers([1.0] * 10) == () and outliers([1.0, 1.0, 9.0]) == ()


def test_the_predictive_interval_is_calibrated_when_the_prior_is() -> None:
    random = np.random.default_rng(5)
    prior = Prior(10.0, 0.4, mean_worth=2.0, spread_worth=6.0)
    inside = 0
    rounds = 4000
    for _ in range(rounds):
        variance = prior.spread_worth * prior.spread**2 / random.chisquare(prior.spread_worth)
        mean = random.normal(prior.mean, np.sqrt(variance / prior.mean_worth))
        *seen, following = random.normal(mean, np.sqrt(variance), 4)
        low, high = predictive(prior, [float(v) for v in seen]).interval(0.9)
        inside += low <= following <= high
    assert inside / rounds == pytest.approx(0.9, abs=0.015)


def test_it_starts_at_the_prior_and_ends_at_the_readings() -> None:
    prior = Prior(10.0, 0.4)
    assert predictive(prior).centre == 10.0
    many = [float(v) for v in np.random.default_rng(2).normal(12.0, 0.2, 2000)]
    end = predictive(prior, many)
    assert end.centre == pytest.approx(12.0, abs=0.03)
    assert end.scale == pytest.approx(0.2, abs=0.02)
    assert end.below(12.0) == pytest.approx(0.5, abs=0.05)
    one_by_one = predictive(prior, many[::-1])
    assert one_by_one.scale == pytest.approx(end.scale)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: two_sided_factor(1), "one says nothing"),
        (lambda: two_sided_factor(5, 1.0), "such as 0.95"),
        (lambda: one_sided_factor(5, dof=0), "degrees of freedom"),
        (lambda: tolerance_interval([1.0]), "at least 2"),
        (lambda: tolerance_interval([1.0, float("inf")]), "leave OL out"),
        (lambda: tolerance_interval([1.0, 2.0], side="left"), "both, upper or lower"),
        (lambda: outliers([1.0, 2.0], alpha=0.9), "alpha"),
        (lambda: predictive(Prior(1.0, 0.0)), "above zero"),
        (lambda: predictive(Prior(1.0, float("inf"))), "finite"),
        (lambda: predictive(Prior(1.0, 1.0)).interval(1.0), "between 0 and 1"),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
