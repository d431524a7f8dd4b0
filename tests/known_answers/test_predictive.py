"""Where the next good machine reads, against other ways to the same figures."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm
from scipy.stats import t as student

from knowngood.calculate.tolerance import Prior
from knowngood.learn.spread import Seen, ahead, prior_from

VALUES = [12.4, 12.1, 12.9, 12.3, 12.6]
PRIOR = Prior(12.0, 0.5, mean_worth=1.0, spread_worth=4.0)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_without_an_opinion_it_is_the_textbook_prediction_interval(count: int) -> None:
    # Hahn & Meeker, Statistical Intervals: mean +- t(n - 1) s sqrt(1 + 1/n); from memory. Its
    # general form with a spread known from `worth` readings has their degrees of freedom more.
    x = np.array(VALUES[:count])
    for worth in (0.05, 3.0):
        prior = Prior(0.0, 0.2, mean_worth=1e-6, spread_worth=worth)
        dof = worth + count - 1
        squares = worth * 0.2**2 + float(np.sum((x - x.mean()) ** 2))
        scale = math.sqrt(squares / dof * (1 + 1 / count))
        found = ahead(prior, [Seen(float(v)) for v in x])
        for at in (11.6, 12.3, 12.6, 13.4):
            wanted = student.cdf((at - x.mean()) / scale, dof)
            assert found.below(at) == pytest.approx(wanted, abs=3e-4)


def test_two_meters_against_integration_over_mean_and_spread() -> None:
    """Random and shared errors of two meters, integrated over mean and sd with scipy's own
    multivariate normal; nothing of the program's algebra is in it."""
    seen = [
        Seen(12.4, 0.05, 0.2, "a"), Seen(12.9, 0.05, 0.2, "a"), Seen(11.9, 0.1, 0.4, "b", 0.1),
        Seen(12.2, 0.02),
    ]  # fmt: skip
    y = np.array([s.value for s in seen])
    errors = np.diag([s.u_random**2 + s.own**2 for s in seen])
    for meter in ("a", "b"):
        own = np.array([s.u_shared * (s.meter == meter) for s in seen])
        errors = errors + np.outer(own, own)

    means, tau = np.linspace(7.0, 17.0, 1501), PRIOR.spread / math.sqrt(PRIOR.mean_worth)
    weight, below = 0.0, np.zeros(3)
    for log_sd in np.linspace(math.log(0.02), math.log(8.0), 400):
        sd = math.exp(log_sd)
        prior = -PRIOR.spread_worth * (log_sd + PRIOR.spread**2 / (2 * sd * sd))
        cover = sd * sd * np.eye(len(y)) + errors
        log = multivariate_normal.logpdf(y - means[:, None], np.zeros(len(y)), cover)
        log = log + norm.logpdf(means, PRIOR.mean, tau) + prior
        mass = np.exp(log)
        weight += mass.sum()
        below += [float(mass @ norm.cdf(at, means, sd)) for at in (11.6, 12.3, 13.4)]
    found = ahead(PRIOR, seen)
    for at, wanted in zip((11.6, 12.3, 13.4), below / weight, strict=True):
        assert found.below(at) == pytest.approx(wanted, abs=2e-5)


def test_the_mean_of_readings_on_two_meters_against_gtc() -> None:
    """With a spread that is known to be tiny and no opinion on the mean, what is left of the mean's
    uncertainty is that of the best linear estimate; GTC propagates the errors in common."""
    seen = [Seen(5.02, 0.01, 0.03, "a"), Seen(5.05, 0.01, 0.03, "a"), Seen(4.97, 0.02, 0.05, "b")]
    tight = Prior(5.0, 1e-4, mean_worth=1e-8, spread_worth=1e3)
    found = ahead(tight, seen)
    # The same errors in GTC: one number for each reading's own, one for each meter.
    meters = {"a": GTC.ureal(0, 0.03), "b": GTC.ureal(0, 0.05)}
    each = [GTC.ureal(s.value, s.u_random) + meters[s.meter] for s in seen]
    cover = np.array([[GTC.get_covariance(a, b) for b in each] for a in each])
    weights = np.linalg.solve(cover, np.ones(3))
    weights /= weights.sum()
    best = sum(w * one for w, one in zip(weights, each, strict=True))
    assert found.mean == pytest.approx(best.x, rel=1e-5)
    assert found.sd == pytest.approx(best.u, rel=5e-4)


def test_errors_in_common_do_not_average_away() -> None:
    # 60 readings with 0.5 each: 0.5 / sqrt(60) is left of errors of their own; of a common one 0.5,
    # but for what was believed of the mean before (10 with 2).
    tight = Prior(10.0, 0.002, mean_worth=1e-6, spread_worth=1e3)
    own = ahead(tight, [Seen(10.0, 0.5, 0.0, "m")] * 60)
    common = ahead(tight, [Seen(10.0, 0.0, 0.5, "m")] * 60)
    assert own.sd == pytest.approx(0.5 / math.sqrt(60), rel=1e-3)
    assert common.sd == pytest.approx(1 / math.sqrt(1 / 2.0**2 + 1 / 0.5**2), rel=1e-4)


@pytest.mark.parametrize("count", [3, 10, 30])
def test_the_predictive_is_calibrated_under_its_own_prior(count: int) -> None:
    """Machines drawn from the prior itself, read by two meters with errors in common: the true
    value of the next one falls in the middle 90 % nine times in ten (seeded; 400 shops)."""
    rng = np.random.default_rng([count, 5])
    prior, inside, shops = prior_from(40, 60), 0, 400
    for _ in range(shops):
        sd = prior.spread * math.sqrt(prior.spread_worth / rng.chisquare(prior.spread_worth))
        mean = rng.normal(prior.mean, prior.spread / math.sqrt(prior.mean_worth))
        bias = {"a": rng.normal(0, 1.0), "b": rng.normal(0, 3.0)}
        seen = []
        for i in range(count):
            meter, u = ("a", 1.0) if i % 3 else ("b", 3.0)
            true = rng.normal(mean, sd)
            seen.append(Seen(true + bias[meter] + rng.normal(0, 0.5), 0.5, u, meter))
        low, high = ahead(prior, seen).interval(0.9)
        inside += low <= rng.normal(mean, sd) <= high
    # 400 draws: one standard error is 1.5 %.
    assert inside / shops == pytest.approx(0.9, abs=0.045)


def test_the_pieces_are_the_predictive() -> None:
    for readings in ([], VALUES[:3], VALUES * 6):
        found = ahead(PRIOR, [Seen(v, 0.05, 0.1, "m") for v in readings])
        pieces = found.pieces()
        assert sum(p.share for p in pieces) == pytest.approx(1)
        for p in (0.001, 0.01, 0.1, 0.5, 0.9, 0.99, 0.999):
            at = found.quantile(p)
            below = sum(q.share * norm.cdf(at, q.low, q.high) for q in pieces)
            assert below == pytest.approx(p, abs=max(2e-3 * min(1, 40 * p * (1 - p)), 1e-4))


def test_the_prior_holds_what_the_file_expected() -> None:
    found = ahead(prior_from(54.0, 58.8), [])
    assert found.interval(0.95) == pytest.approx((54.0, 58.8), abs=1e-4)
    with pytest.raises(ValueError, match="the lower first"):
        prior_from(58.8, 54.0)
    with pytest.raises(ValueError, match="below zero"):
        ahead(PRIOR, [Seen(1.0, -0.1)])
    with pytest.raises(ValueError, match="not finite"):
        ahead(PRIOR, [Seen(math.inf)])
