"""Reorder points and last buys against a textbook and an independent library.

L. V. Snyder & Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed., Wiley 2019, section
4.3; the figures for counted demand are those that stockpyl 1.0.2 (its authors' library) prints in
its own documentation. Each is summed here again from the terms of its law, in 60 decimal places and
without any library of statistics, and so is the negative binomial one, which no page prints.
"""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest

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


def terms(demand: Demand) -> list[Decimal]:
    """Chances of 0, 1, 2, ... parts, each from the one before: mean / k for Poisson; for the
    negative binomial of the same moments (k + r) / (k + 1) * (1 - p)."""
    mean, variance = Decimal(demand.mean), Decimal(demand.variance)
    with localcontext() as context:
        context.prec = 60
        if variance == mean:
            found = [(-mean).exp()]
            for k in range(1, 400):
                found.append(found[-1] * mean / k)
            return found
        p = mean / variance
        r = mean * p / (1 - p)
        found = [(r * p.ln()).exp()]
        for k in range(400):
            found.append(found[-1] * (k + r) / (k + 1) * (1 - p))
        return found


@pytest.mark.parametrize(
    ("too_many", "too_few", "demand"),
    [("0.18", "0.70", Demand(50, 50)), ("1", "4", Demand(6, 6)), ("0.18", "0.70", Demand(50, 64)),
     ("2", "3", Demand(3, 9)), ("5", "95", Demand(0.5, 0.8))],
)  # fmt: skip
def test_last_buy_summed_by_hand(too_many: str, too_few: str, demand: Demand) -> None:
    """The cost of every count up to 150 from its terms; the cheapest is the last buy."""
    chances = terms(demand)
    assert abs(sum(chances) - 1) < Decimal("1e-25")  # the whole law is here
    over, under = Decimal(too_many), Decimal(too_few)

    def cost(count: int) -> Decimal:
        return sum(
            ((over * (count - k) if k < count else under * (k - count)) * chance
             for k, chance in enumerate(chances)), Decimal(0),
        )  # fmt: skip

    best = min(range(150), key=cost)
    found = last_buy(demand, float(too_few), float(too_many))
    assert found.count == best
    assert found.cost == pytest.approx(float(cost(best)), rel=1e-9)
    for count in (0, 1, best + 3):
        assert expected_cost(demand, count, float(too_few), float(too_many)) == pytest.approx(
            float(cost(count)), rel=1e-9
        )


@pytest.mark.parametrize("service", ["0.5", "0.9", "0.95", "0.999"])
@pytest.mark.parametrize("demand", [Demand(6, 6), Demand(50, 64), Demand(3, 9), Demand(0.5, 0.8)])
def test_reorder_point_summed_by_hand(demand: Demand, service: str) -> None:
    """The least count whose terms add up to the service."""
    summed, point = Decimal(0), -1
    for chance in terms(demand):
        summed, point = summed + chance, point + 1
        if summed >= Decimal(service):
            break
    found = reorder_point(demand, float(service))
    assert found.point == point
    assert found.service == pytest.approx(float(summed), rel=1e-9)


def test_cost_of_a_count_that_is_not_the_best() -> None:
    """newsvendor_discrete(1, 4, poisson(6), base_stock_level=5) in the same documentation."""
    assert expected_cost(Demand(6, 6), 5, 4, 1) == pytest.approx(6.590296024616343, rel=1e-9)


def test_reorder_point_of_a_worked_example() -> None:
    """B. W. Taylor, Introduction to Management Science, the carpet store (from memory): 30 yards a
    day with deviation 5, ten days, 95 %: mean 300, deviation 15.81, R = 326.1 by the normal law.
    Counted demand never varies less than Poisson here, so its spare, for a deviation of sqrt(300),
    is held against theirs in deviations."""
    lead = Demand(30, 25).over(10)
    assert (lead.mean, lead.variance) == (300, 250)
    found = reorder_point(lead, 0.95)
    assert found.spare * (250 / 300) ** 0.5 == pytest.approx(326.1 - 300, abs=1)


@pytest.mark.parametrize(
    ("mean", "service", "point", "reached"),
    [
        (4.0, 0.50, 4, 0.6288), (4.0, 0.90, 7, 0.9489), (4.0, 0.95, 8, 0.9786),
        (4.0, 0.99, 9, 0.9919), (9.0, 0.50, 9, 0.5874), (9.0, 0.90, 13, 0.9261),
        (9.0, 0.95, 14, 0.9585), (9.0, 0.99, 17, 0.9947),
    ],
)  # fmt: skip
def test_reorder_point_by_the_printed_table(
    mean: float, service: float, point: int, reached: float
) -> None:
    """Cumulative Poisson probabilities to four places, as tables print them (from memory); each
    term is summed here as well, without any library of statistics."""
    found = reorder_point(Demand(mean, mean), service)
    assert (found.point, round(found.service, 4)) == (point, reached)
    summed = sum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(point + 1))
    assert found.service == pytest.approx(summed, rel=1e-12)
    assert summed - math.exp(-mean) * mean**point / math.factorial(point) < service


@pytest.mark.parametrize("service", [0.5, 0.9, 0.95, 0.99])
@pytest.mark.parametrize("r", [1, 3, 5])
def test_reorder_point_of_a_demand_that_varies_more(r: int, service: float) -> None:
    """Negative binomial with p = 1/2 (mean r, variance 2 r): at most k failures before the r-th
    success are at least r successes in k + r throws of a coin, here counted in whole numbers."""

    def at_most(k: int) -> Fraction:
        n = k + r
        return Fraction(sum(math.comb(n, wins) for wins in range(r, n + 1)), 2**n)

    least = next(k for k in range(200) if at_most(k) >= Fraction(str(service)))
    found = reorder_point(Demand(r, 2 * r), service)
    assert found.point == least
    assert found.service == pytest.approx(float(at_most(least)), rel=1e-9)


def test_lead_time_that_varies() -> None:
    """Hadley & Whitin 1963, chapter 3: variance of a random sum."""
    assert Demand(2, 2).over(4, varying=1.5) == Demand(8, 8 + 9)
