"""Tolerance factors, outliers, predictive distributions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import chi2, nct, ncx2, norm
from scipy.stats import t as student

from knowngood.calculate.tolerance import (
    Prior,
    one_sided_factor,
    outliers,
    predictive,
    two_sided_factor,
)

# ISO 16269-6:2014, tables of annex F, read in the tests of a published library: share, confidence,
# n of each sample, samples pooled (the spread then has samples x (n - 1) degrees of freedom), k.
# The table rounds up.
ISO = [
    (0.90, 0.90, 2, 1, 15.5124),
    (0.90, 0.90, 100, 1, 1.8232),
    (0.95, 0.90, 9, 1, 3.1323),
    (0.99, 0.90, 17, 1, 3.4741),
    (0.90, 0.95, 2, 1, 31.0923),
    (0.95, 0.95, 5, 1, 5.0769),
    (0.95, 0.95, 5, 2, 3.6939),
    (0.95, 0.95, 10, 1, 3.3935),
    (0.95, 0.95, 10, 10, 2.4125),
    (0.95, 0.95, 26, 1, 2.6188),
    (0.95, 0.95, 200, 1, 2.1430),
    (0.99, 0.95, 3, 1, 12.6472),
    (0.90, 0.99, 4, 1, 9.4162),
    (0.95, 0.99, 2, 1, 182.7201),
    (0.95, 0.99, 2, 10, 4.9489),
    (0.99, 0.99, 7, 3, 4.4559),
    (0.99, 0.99, 1000, 1, 2.7184),
]


@pytest.mark.parametrize(("share", "confidence", "n", "samples", "k"), ISO)
def test_two_sided_factors(share: float, confidence: float, n: int, samples: int, k: float) -> None:
    found = two_sided_factor(n, share, confidence, dof=samples * (n - 1))
    assert math.ceil(found * 1e4) / 1e4 == pytest.approx(k, abs=1e-9)


def test_two_sided_against_the_usual_approximation() -> None:
    """Howe 1969, z sqrt(dof (1 + 1/n) / chi2), as in the NIST/SEMATECH e-Handbook 7.2.6.3, whose
    example (from memory) is 43 wafers, 90 % with 99 %: k = 2.2173."""
    howe = norm.ppf(0.95) * math.sqrt(42 * (1 + 1 / 43) / chi2.ppf(0.01, 42))
    assert howe == pytest.approx(2.2173, abs=1e-4)
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(howe, rel=3e-3)  # it is a hair short


def test_the_3_379_often_printed_is_an_approximation() -> None:
    # 3.379 for n = 10, 95/95 stands in many tables (from memory): Wald & Wolfowitz 1946, which puts
    # the mean one standard error off. The exact factor is 3.393.
    wald = math.sqrt(9 * ncx2.ppf(0.95, 1, 1 / 10) / chi2.ppf(0.05, 9))
    assert wald == pytest.approx(3.379, abs=6e-4)
    assert two_sided_factor(10) == pytest.approx(3.3934, abs=1e-4)


def test_two_sided_against_plain_quadrature_with_scipy() -> None:
    z = np.linspace(-9, 9, 20_001)
    k = two_sided_factor(7, 0.9, 0.95)
    chance = chi2.sf(6 * ncx2.ppf(0.9, 1, z * z / 7) / k**2, 6) * norm.pdf(z)
    assert np.trapezoid(chance, z) == pytest.approx(0.95, abs=1e-9)


@pytest.mark.parametrize(
    ("n", "share", "confidence", "k"),
    [
        (50, 0.95, 0.95, 2.065),  # read as of Owen's tables, NRC document
        (40, 0.90, 0.99, 1.9017),  # read in a published worked example
        (43, 0.90, 0.99, 1.8740),  # NIST/SEMATECH e-Handbook 7.2.6.3, from memory
    ],
)
def test_one_sided_factors(n: int, share: float, confidence: float, k: float) -> None:
    assert one_sided_factor(n, share, confidence) == pytest.approx(k, abs=6e-5 if n != 50 else 5e-4)


def test_one_sided_against_noncentral_t() -> None:
    for n in (3, 12, 150):
        wanted = nct.ppf(0.95, n - 1, norm.ppf(0.9) * math.sqrt(n)) / math.sqrt(n)
        assert one_sided_factor(n, 0.9, 0.95) == pytest.approx(wanted, rel=1e-9)


ROSNER = (
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
)  # fmt: skip


def test_rosners_three_outliers() -> None:
    # Rosner 1983, as in the NIST/SEMATECH e-Handbook 1.3.5.17.3 (read in several libraries' tests):
    # with up to 10, three are outliers, 6.01, 5.42, 5.34. One at a time finds none.
    assert [ROSNER[i] for i in outliers(ROSNER, most=10)] == [6.01, 5.42, 5.34]
    assert outliers(ROSNER, most=1) == ()


def test_predictive_against_integration_over_mean_and_spread() -> None:
    prior = Prior(12.0, 0.5, mean_worth=2.0, spread_worth=4.0)
    values = [12.4, 12.1, 12.9]
    means = np.linspace(9, 15, 801)[:, None]
    spreads = np.exp(np.linspace(math.log(0.03), math.log(12), 801))[None, :]
    # Density in log spread: scaled inverse chi-square for the variance, normal for the mean.
    log = -prior.spread_worth * np.log(spreads) - prior.spread_worth * prior.spread**2 / (
        2 * spreads**2
    )
    log = log + norm.logpdf(means, prior.mean, spreads / math.sqrt(prior.mean_worth))
    for x in values:
        log = log + norm.logpdf(x, means, spreads)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    found = predictive(prior, values)
    for at in (11.0, 12.2, 13.5):
        assert found.below(at) == pytest.approx(
            float(np.sum(weight * norm.cdf(at, means, spreads))), abs=2e-4
        )


# Factors of the 95 % prediction interval for one further reading, n = 2 to 13: mean +- factor x s,
# t(n - 1) sqrt(1 + 1/n), with n - 1 degrees of freedom (Hahn & Meeker, Statistical Intervals, 4.7;
# formula and figures from memory).
FACTORS = [15.56, 4.97, 3.56, 3.04, 2.78, 2.62, 2.51, 2.43, 2.37, 2.33, 2.29, 2.26]


@pytest.mark.parametrize(("n", "factor"), list(enumerate(FACTORS, start=2)))
def test_what_the_readings_alone_say_is_the_textbook_prediction_interval(
    n: int, factor: float
) -> None:
    """A prior that is itself the first two readings holds nothing else: with all of them it is the
    textbook's interval, n - 1 degrees of freedom, whichever two came first."""
    values = [float(v) for v in np.random.default_rng(n).normal(5.0, 0.2, n)]
    first = Prior((values[0] + values[1]) / 2, abs(values[0] - values[1]) / math.sqrt(2), 2, 1)
    found = predictive(first, values[2:])
    mean, s = float(np.mean(values)), float(np.std(values, ddof=1))
    assert found.dof == n - 1
    low, high = found.interval()
    assert (low + high) / 2 == pytest.approx(mean, abs=1e-9)
    assert (high - low) / 2 / s == pytest.approx(factor, abs=6e-3)
    exact = student.ppf(0.975, n - 1) * math.sqrt(1 + 1 / n)
    assert (high - low) / 2 / s == pytest.approx(exact, rel=1e-9)


def test_a_prior_worth_next_to_nothing_still_takes_a_side() -> None:
    """It is not the textbook's interval: that of n - 1 degrees of freedom says that every spread is
    as likely as any other, for which a prior would be worth minus one reading. One worth nearly
    none leaves n degrees of freedom and is narrower, here by an eighth."""
    values = [5.1, 4.9, 5.3, 5.0, 5.2, 4.8]
    low, high = predictive(Prior(0.0, 1e-9, 1e-9, 1e-9), values).interval()
    s = float(np.std(values, ddof=1))
    textbook = 2.571 * s * math.sqrt(1 + 1 / 6)  # t of 5 degrees of freedom, 97.5 %: any table
    narrower = 2.447 * s * math.sqrt(5 / 6) * math.sqrt(1 + 1 / 6)  # of 6, s by n, not n - 1
    assert (high - low) / 2 == pytest.approx(narrower, rel=3e-4)
    assert (high - low) / 2 / textbook == pytest.approx(0.869, abs=1e-3)
