"""Expected cost and bad case over the ends of a plan: by hand, and against a drawn sample."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.likely_cost import End, likely_cost


def test_by_hand() -> None:
    ends = [
        End(0.5, 20, Decimal("40")), End(0.4, 50, Decimal("10")), End(0.1, 100, Decimal("160")),
    ]  # fmt: skip
    found = likely_cost(ends, Decimal(60))  # a minute is 1.00
    assert found.minutes == pytest.approx(0.5 * 20 + 0.4 * 50 + 0.1 * 100)
    assert (found.labour, found.parts) == (Decimal("40.00"), Decimal("40.00"))
    # totals 60 (.5), 60 (.4), 260 (.1): nine of ten do not pass 60
    assert (found.bad_total, found.bad_minutes) == (Decimal("60.00"), 50)
    worse = likely_cost(ends, Decimal(60), 0.95)
    assert (worse.bad_total, worse.bad_minutes) == (Decimal("260.00"), 100)


ENDS = st.lists(
    st.builds(
        End, st.floats(0.01, 1), st.integers(0, 300).map(float),
        st.integers(0, 400).map(lambda n: Decimal(n)),
    ), min_size=1, max_size=12,
)  # fmt: skip


@given(ENDS, st.floats(0.5, 0.99))
def test_the_quantile_is_that_of_numpy(ends: list[End], share: float) -> None:
    """numpy.quantile, weighted, by the inverted empirical distribution."""
    found = likely_cost(ends, Decimal(60), share)
    totals = [float(e.parts) + e.minutes for e in ends]
    weights = [e.chance for e in ends]
    reached = sum(w for t, w in zip(totals, weights, strict=True) if t <= float(found.bad_total))
    assert reached / sum(weights) >= share - 1e-9
    below = sum(w for t, w in zip(totals, weights, strict=True) if t < float(found.bad_total))
    assert below / sum(weights) < share + 1e-9
    if hasattr(np, "quantile") and np.lib.NumpyVersion(np.__version__) >= "2.0.0":
        theirs = np.quantile(totals, share, method="inverted_cdf", weights=weights)
        assert abs(float(theirs) - float(found.bad_total)) < 0.005 or any(
            abs(sum(weights[i] for i in range(len(ends)) if totals[i] <= t) / sum(weights) - share)
            < 1e-9
            for t in totals
        )  # a tie at the share itself may fall on either side


def test_against_a_drawn_sample() -> None:
    rng = np.random.default_rng(7)
    chances = rng.dirichlet(np.ones(40))
    ends = [
        End(float(c), float(m), Decimal(int(p)))
        for c, m, p in zip(chances, rng.uniform(5, 120, 40), rng.integers(0, 200, 40), strict=True)
    ]
    found = likely_cost(ends, Decimal(90))
    drawn = rng.choice(40, size=400_000, p=chances)
    totals = np.array([float(e.parts) + e.minutes * 1.5 for e in ends])[drawn]
    assert float(found.total) == pytest.approx(totals.mean(), rel=0.005)
    assert (totals <= float(found.bad_total) + 0.01).mean() >= 0.9 - 0.003
    assert (totals < float(found.bad_total) - 0.01).mean() <= 0.9 + 0.003


@pytest.mark.parametrize(
    ("ends", "share"),
    [([], 0.9), ([End(0, 1)], 0.9), ([End(1, -1)], 0.9), ([End(1, 1)], 1.0), ([End(1, 1)], 0.0)],
)
def test_what_cannot_be_is_refused(ends: list[End], share: float) -> None:
    with pytest.raises(ValueError, match="give"):
        likely_cost(ends, Decimal(60), share)
