"""Superseded numbers, and demand that was counted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.stock import Demand, demand_of, last_buy, reorder_point
from knowngood.shop.supersession import add, circles, follow


def test_a_chain_to_its_end() -> None:
    became = add(add({}, "100-20", "200"), "200", "30 0")
    assert follow("10020", became).sentence == "10020 became 200, then 30 0: order 30 0"
    assert follow("300", became).sentence == ""
    assert follow("200", became).now == "30 0"


def test_a_circle_is_refused_and_named() -> None:
    with pytest.raises(ValueError, match="circle: 300 -> 100 -> 200 -> 300"):
        add({"100": "200", "200": "300"}, "300", "100")
    with pytest.raises(ValueError, match="circle: A -> a"):
        add({}, "A", "a")


numbers = st.sampled_from([str(n) for n in range(12)])


@given(st.dictionaries(numbers, numbers))
def test_every_circle_is_found(became: dict[str, str]) -> None:
    """By walking on from each number for as many steps as there are numbers."""

    def after(number: str, steps: int) -> str | None:
        for _ in range(steps):
            if number not in became:
                return None
            number = became[number]
        return number

    on_circle = {n for n in became if any(after(n, k) == n for k in range(1, 13))}
    found = circles(became)
    assert set().union(*found) == on_circle
    assert sum(len(ring) for ring in found) == len(on_circle)  # each once
    for ring in found:
        assert [became[n] for n in ring] == [*ring[1:], ring[0]]
    for number in became:
        if after(number, 13) is None:
            assert follow(number, became).now not in became
        else:
            with pytest.raises(ValueError, match="circle"):
                follow(number, became)


def test_demand_from_counts() -> None:
    found = demand_of([2, 0, 1, 5])
    assert (found.mean, found.variance) == (2.0, pytest.approx(14 / 3))
    assert reorder_point(demand_of([0, 0, 0]), 0.99).point == 0


@given(st.floats(0.01, 60), st.floats(0, 4), st.floats(0.01, 0.999))
def test_more_variance_never_needs_fewer_at_high_service(
    mean: float, extra: float, service: float
) -> None:
    found = reorder_point(Demand(mean, mean * (1 + extra)), service)
    assert found.service >= service
    law = Demand(mean, mean * (1 + extra)).law
    assert found.point == 0 or law.cdf(found.point - 1) < service
    assert law.mean() == pytest.approx(mean)
    assert law.var() == pytest.approx(max(mean, mean * (1 + extra)))


@given(st.floats(0.1, 30), st.floats(0.1, 50), st.floats(0.1, 50))
def test_no_other_count_is_cheaper(mean: float, too_few: float, too_many: float) -> None:
    from knowngood.shop.stock import expected_cost

    demand = Demand(mean, mean)
    best = last_buy(demand, too_few, too_many)
    for other in {max(best.count - 1, 0), best.count + 1, 0}:
        assert best.cost <= expected_cost(demand, other, too_few, too_many) + 1e-9


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Demand(-1, 1), "0 or more"),
        (lambda: demand_of([3]), "at least two"),
        (lambda: demand_of([3, -1]), "not demand"),
        (lambda: reorder_point(Demand(1, 1), 1.0), "between 0 and 1"),
        (lambda: last_buy(Demand(1, 1), 0, 1), "too_few is 0"),
    ],
)
def test_what_cannot_be_says_the_way_out(make: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        make()  # type: ignore[operator]
