"""Examples of the GUM (JCGM 100:2008, annex H), with GTC as an independent reference."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from GTC import type_a, uncertainty
from GTC import value as gtc_value
from scipy.stats import t as student_t

from knowngood.calculate.resistance import winding_rise
from knowngood.measure.budget import Budget, BudgetRow, rectangle
from knowngood.measure.difference import compare
from knowngood.measure.propagate import mean_and_covariance, propagate
from knowngood.measure.reading import Reading

# H.1, end gauge, lengths in nm. Inputs from memory of the printed example.
STANDARD, U_STANDARD = 50_000_623.0, 25.0
SHOWN, U_SHOWN = 215.0, math.sqrt(5.8**2 + 3.9**2 + 6.7**2)
ALPHA, THETA = 11.5e-6, -0.1


def test_h1_end_gauge_first_order() -> None:
    def gauge(x: np.ndarray) -> float:
        standard, shown, alpha, theta, d_alpha, d_theta = x
        return float(standard + shown - standard * (d_alpha * theta + alpha * d_theta))

    root3 = math.sqrt(3)
    u = [U_STANDARD, U_SHOWN, 2e-6 / root3, 0.41, 1e-6 / root3, 0.05 / root3]
    result, covariance = propagate(gauge, [STANDARD, SHOWN, ALPHA, THETA, 0.0, 0.0], u)

    inputs = [
        GTC.ureal(v, s) for v, s in zip([STANDARD, SHOWN, ALPHA, THETA, 0.0, 0.0], u, strict=True)
    ]
    standard, shown, alpha, theta, d_alpha, d_theta = inputs
    reference = standard + shown - standard * (d_alpha * theta + alpha * d_theta)

    assert result[0] == pytest.approx(50_000_838)  # printed, from memory
    assert math.sqrt(covariance[0, 0]) == pytest.approx(31.66, abs=0.01)  # GTC; 32 printed
    assert math.sqrt(covariance[0, 0]) == pytest.approx(uncertainty(reference), rel=1e-6)


def test_h1_as_rows_of_a_budget() -> None:
    assert h1_budget().u == pytest.approx(31.66, abs=0.01)


def test_h1_degrees_of_freedom_and_99_percent() -> None:
    # Printed, from memory: 18 for the standard; 24, 5, 8 for the three parts of the difference
    # (25.6 together); 50 and 2 for expansion and temperature. Together 16.7, taken as 16, and
    # U99 = 93 nm. By Welch and Satterthwaite from our rows, and by GTC from the inputs.
    budget = h1_budget()
    dof = [18.0, 25.6, 50.0, 2.0]
    ours = budget.u**4 / sum(row.u**4 / n for row, n in zip(budget.rows, dof, strict=True))
    standard = GTC.ureal(STANDARD, U_STANDARD, 18)
    parts = [GTC.ureal(0.0, u, n) for u, n in ((5.8, 24), (3.9, 5), (6.7, 8))]
    alike = GTC.ureal(0.0, 1e-6 / math.sqrt(3), 50)
    between = GTC.ureal(0.0, 0.05 / math.sqrt(3), 2)
    sum_of = standard + parts[0] + parts[1] + parts[2]
    reference = sum_of - STANDARD * (alike * THETA + ALPHA * between)
    assert int(ours) == int(GTC.dof(reference)) == 16
    assert ours == pytest.approx(GTC.dof(reference), rel=0.01)
    assert student_t.ppf(0.995, 16) * budget.u == pytest.approx(93, abs=1)  # printed with u = 32


def h1_budget() -> Budget:
    rows = (
        BudgetRow("standard", U_STANDARD, "normal", 1.0, U_STANDARD, "shared", "certificate"),
        BudgetRow("comparator", U_SHOWN, "normal", 1.0, U_SHOWN, "random", "repeats"),
        rectangle("expansion", 1e-6 * abs(THETA) * STANDARD, "shared", "+-1e-6 per degC"),
        rectangle("temperature", 0.05 * ALPHA * STANDARD, "shared", "+-0.05 degC"),
    )
    return Budget("length", STANDARD, rows, None, None)


# H.2, table H.2 of the GUM: five rounds of volts, milliamps, phase in rad (from memory).
ROUNDS = [
    (5.007, 19.663e-3, 1.0456),
    (4.994, 19.639e-3, 1.0438),
    (5.005, 19.640e-3, 1.0468),
    (4.990, 19.685e-3, 1.0428),
    (4.999, 19.678e-3, 1.0433),
]


def impedance(x: np.ndarray) -> list[float]:
    volts, amps, phase = x
    z = volts / amps
    return [z * math.cos(phase), z * math.sin(phase), z]


def test_h2_resistance_and_reactance_from_raw_data() -> None:
    means, covariance = mean_and_covariance(ROUNDS)
    result, out = propagate(impedance, means, covariance)
    u = np.sqrt(np.diag(out))
    r = out / np.outer(u, u)
    # Computed with GTC from the raw data; the GUM prints u(R) = 0.071.
    assert result == pytest.approx([127.7322, 219.8465, 254.2597], abs=5e-5)
    assert u == pytest.approx([0.0711, 0.2956, 0.2363], abs=5e-5)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.5884, -0.4853, 0.9925], abs=5e-5)


def test_h2_from_the_rounded_means_as_printed() -> None:
    # Means, u and r of table H.2 as printed (from memory): rounding alone moves u(R) from 0.0711
    # to 0.0700 (computed with GTC).
    u = np.array([0.0032, 0.0095e-3, 0.00075])
    r = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    result, out = propagate(impedance, [4.999, 19.661e-3, 1.04446], np.outer(u, u) * r)
    assert result == pytest.approx([127.732, 219.847, 254.260], abs=1e-3)
    assert math.sqrt(out[0, 0]) == pytest.approx(0.0700, abs=5e-5)


def test_h2_agrees_with_gtc() -> None:
    volts, amps, phase = type_a.multi_estimate_real(list(zip(*ROUNDS, strict=True)))
    z = volts / amps
    reference = [z * GTC.cos(phase), z * GTC.sin(phase), z]
    result, out = propagate(impedance, *mean_and_covariance(ROUNDS))
    assert result == pytest.approx([gtc_value(x) for x in reference], rel=1e-12)
    assert np.sqrt(np.diag(out)) == pytest.approx([uncertainty(x) for x in reference], rel=1e-6)
    correlation = out[0, 1] / math.sqrt(out[0, 0] * out[1, 1])
    assert correlation == pytest.approx(GTC.get_correlation(*reference[:2]), abs=1e-6)


@pytest.mark.parametrize(("volts_a", "volts_b"), [(2.0, 1.9), (2.0, 2.0), (-1.0, 2.0)])
def test_a_common_gain_in_a_difference_agrees_with_gtc(volts_a: float, volts_b: float) -> None:
    gain = GTC.ureal(1.0, 0.03)
    a = volts_a * gain + GTC.ureal(0.0, 0.01)
    b = volts_b * gain + GTC.ureal(0.0, 0.02)
    found = compare(_reading(volts_a, 0.01, 0.03), _reading(volts_b, 0.02, 0.03))
    assert found.value == pytest.approx(gtc_value(a - b))
    assert found.u == pytest.approx(uncertainty(a - b), rel=1e-12)


def _reading(volts: float, u_random: float, gain: float) -> Reading:
    return Reading(
        "value", "ac_volts", volts, volts, "V", str(volts),
        u_random=u_random, u_shared=abs(volts) * gain, meter="m", range_name="6 V",
    )  # fmt: skip


def test_doubt_of_a_winding_rise_agrees_with_gtc() -> None:
    cold, hot, start = GTC.ureal(0.1, 0.0005), GTC.ureal(0.13, 0.0005), GTC.ureal(20.0, 1.0)
    reference = hot / cold * (234.5 + start) - 234.5 - 25.0
    result, covariance = propagate(
        lambda x: winding_rise(x[0], x[1], x[2], 25.0), [0.1, 0.13, 20.0], [0.0005, 0.0005, 1.0]
    )
    assert result[0] == pytest.approx(gtc_value(reference))
    assert math.sqrt(covariance[0, 0]) == pytest.approx(uncertainty(reference), rel=1e-5)
