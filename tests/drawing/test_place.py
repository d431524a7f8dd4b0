"""Places by linear programme against every possibility tried."""

from __future__ import annotations

import random
from itertools import product

import pytest

from knowngood.drawing.place import Apart, Span, places


def cost(at: tuple[int, ...] | list[int], spans: list[Span], pull: float) -> float:
    total = pull * sum(at)
    for span in spans:
        ends = [at[k] + offset for k, offset in span.ends]
        total += span.weight * (max(ends) - min(ends))
    return total


@pytest.mark.parametrize("seed", range(12))
def test_no_other_places_are_cheaper(seed: int) -> None:
    rng = random.Random(seed)
    apart = [Apart(*sorted(rng.sample(range(4), 2)), rng.randint(1, 2)) for _ in range(3)]

    def some(n: int) -> list[int]:
        return rng.sample(range(4), n)

    spans = [
        Span(rng.choice([1.0, 2.0, 12.0]), tuple((k, rng.randint(0, 2)) for k in some(n)))
        for n in (2, 3, 2)
    ]  # fmt: skip
    found = places(4, apart, spans)
    assert found is not None
    assert all(found[a.second] - found[a.first] >= a.gap for a in apart)
    best = min(
        cost(at, spans, 0.01)
        for at in product(range(9), repeat=4)
        if all(at[a.second] - at[a.first] >= a.gap for a in apart)
    )
    assert cost(found, spans, 0.01) == pytest.approx(best, abs=1e-9)


def test_what_cannot_be_is_none() -> None:
    assert places(2, [Apart(0, 1, 1), Apart(1, 0, 0)], []) is None
    assert places(1, [Apart(0, 0, 1)], []) is None
    assert places(0, [], []) == []
    assert places(2, [], []) == [0, 0]
