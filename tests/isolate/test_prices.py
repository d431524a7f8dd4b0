"""What a wrong part and a claim without proof cost, and how the plan takes it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knowngood.isolate.advice import Bench, advise
from knowngood.isolate.belief import weigh
from knowngood.isolate.prices import Prices
from tests.isolate.small import small_table
from tests.isolate.test_proof import METER, fits

SMALL = small_table()


@pytest.mark.parametrize("denied", [0.0, 0.35, 1.0])
def test_a_claim_for_the_wrong_part_is_lost_for_sure(denied: float) -> None:
    """Charged back when the part returned tests good (TB 5-2330-378-14)."""
    prices = Prices(comeback=100.0, claim_worth=200.0, denied=denied)
    assert prices.wrong + prices.unproven == pytest.approx(100 + 200)
    bench = Bench(SMALL, METER, prices, (), fits(SMALL))
    belief = weigh(SMALL, [])
    with_claim = advise(bench, belief, max_expansions=1).task.wrong_price
    unclaimed = replace(bench, prices=replace(prices, claim_worth=0.0))
    without = advise(unclaimed, belief, max_expansions=1).task.wrong_price
    assert with_claim is not None and without is not None
    assert with_claim - without == pytest.approx(200 * (1 - denied))
    called = advise(bench, belief, called=frozenset({"A"}), max_expansions=1).task
    assert called.unproven_price == 200  # nothing is paid without the proof that was called for
    assert called.wrong_price == pytest.approx(without)
