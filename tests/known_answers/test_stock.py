"""Reorder points and last buys against a textbook and an independent library.

L. V. Snyder & Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed., Wiley 2019, section
4.3; the figures for counted demand are those that stockpyl 1.0.2 (its authors' library) prints in
its own documentation, the negative binomial one was run with it once.
"""

from __future__ import annotations

import pytest
from scipy import stats

from knowngood.shop.stock import Demand, expected_cost, last_buy, reorder_point


@pytest.mark.parametrize(
    ("too_many", "too_few", "demand", "count", "cost"),
    [
        (0.18, 0.70, Demand(50, 50), 56, 1.797235211809178),  # newsvendor_poisson(0.18, 0.70, 50)
        (1, 4, Demand(6, 6), 8, 3.5701069457709416),  # newsvendor_discrete(1, 4, poisson(6))
        (0.18, 0.70, Demand(50, 64), 57, 2.050231284401679),  # with nbinom of these moments
    ],
)
def test_last_buy(
    too_many: float, too_few: float, demand: Demand, count: int, cost: float
) -> None:
    found = last_buy(demand, too_few, too_many)
    assert found.count == count
    assert found.cost == pytest.approx(cost, rel=1e-9)
    assert found.ratio == pytest.approx(too_few / (too_few + too_many))


def test_cost_of_a_count_that_is_not_the_best() -> None:
    """newsvendor_discrete(1, 4, poisson(6), base_stock_level=5) in the same documentation."""
    assert expected_cost(Demand(6, 6), 5, 4, 1) == pytest.approx(6.590296024616343, rel=1e-9)


def test_reorder_point_of_a_worked_example() -> None:
    """B. W. Taylor, Introduction to Management Science, the carpet store: 30 yards a day with
    deviation 5, ten days, 95 %: mean 300, deviation 15.81, so R = 326.1 by the normal law. Demand
    over the lead time must have these moments; the count is Poisson here (variance below the mean),
    so the spare is that of the wider law: sqrt(300) instead of 15.81."""
    lead = Demand(30, 25).over(10)
    assert (lead.mean, lead.variance) == (300, 250)
    assert reorder_point(lead, 0.95).point == pytest.approx(300 + 1.645 * 300**0.5, abs=1)
    assert 300 + 1.65 * lead.variance**0.5 == pytest.approx(326.1, abs=0.05)


@pytest.mark.parametrize("mean", [4.0, 9.0])
@pytest.mark.parametrize("service", [0.5, 0.9, 0.95, 0.99])
def test_reorder_point_is_the_least_count_that_suffices(mean: float, service: float) -> None:
    """Against the tabulated cumulative Poisson law, here summed from its terms."""
    law = [stats.poisson.pmf(k, mean) for k in range(60)]
    least = next(k for k in range(60) if sum(law[: k + 1]) >= service)
    found = reorder_point(Demand(mean, mean), service)
    assert found.point == least
    assert found.service == pytest.approx(sum(law[: least + 1]))


def test_lead_time_that_varies() -> None:
    """Hadley & Whitin 1963, chapter 3: variance of a random sum."""
    assert Demand(2, 2).over(4, varying=1.5) == Demand(8, 8 + 9)
