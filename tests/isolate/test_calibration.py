"""Stated belief against how often it is true, on jobs drawn from the model and from elsewhere.

Random steps, no planner. On jobs drawn from the model each decile must lie inside its 99.9 %
binomial interval and the calibration error must be .015 or less. On jobs from elsewhere the belief
cannot be right; the bars say how far off it may be, and what was found is printed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from scipy import stats

from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.measure.meter import load_shipped_meter
from tests.isolate.small import small_table
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")
TABLE = small_table()


@dataclass(frozen=True)
class Found:
    """``deciles``: (mean stated, share true, count); ``error``: expected calibration error;
    ``sure``: of the sets believed at .95 or more, the share that was not the true one."""

    deciles: list[tuple[float, float, int]]
    error: float
    sure: float


def calibration(stated: np.ndarray, true: np.ndarray) -> Found:
    rows, error = [], 0.0
    for low in np.arange(0, 1, 0.1):
        inside = (stated >= low) & (stated < low + 0.1 + (1e-9 if low > 0.85 else 0))
        if inside.sum():
            mean, share = float(stated[inside].mean()), float(true[inside].mean())
            rows.append((mean, share, int(inside.sum())))
            error += inside.mean() * abs(mean - share)
    return Found(rows, float(error), float(1 - true[stated >= 0.95].mean()))


def stated_beliefs(
    jobs: int, seed: int, *, most_times: int = 1,
    weight: Callable[[Hypothesis], float] | None = None, **world: float,
) -> Found:  # fmt: skip
    """Belief in each cure set after up to five random tests, each read up to ``most_times``."""
    rng = np.random.default_rng(seed)
    sets = sorted({h.parts for h in TABLE.hypotheses}, key=sorted)
    stated, true = [], []
    for _ in range(jobs):
        truth = draw_truth(TABLE, rng, weight)
        bench = World(TABLE, METER, rng, truth, **world)  # type: ignore[arg-type]
        items: list[Item] = []
        for test in rng.permutation(list(TABLE.rows))[: rng.integers(0, 6)]:
            times = int(rng.integers(1, most_times + 1))
            items += [bench.read(test, again=n) for n in range(times)]
        belief = weigh(TABLE, items).of_parts()
        stated += [belief.get(s, 0.0) for s in sets]
        true += [TABLE.hypotheses[truth].parts == s for s in sets]
    return calibration(np.array(stated), np.array(true, dtype=float))


@pytest.mark.parametrize("most_times", [1, 3], ids=["read once", "read up to three times"])
def test_stated_belief_is_calibrated_on_jobs_drawn_from_the_model(most_times: int) -> None:
    found = stated_beliefs(2500 if most_times == 1 else 1200, 11, most_times=most_times)
    assert found.error <= 0.015
    for mean, share, count in found.deciles:
        low, high = stats.binom.interval(0.999, count, mean)
        assert low - 1 <= share * count <= high + 1, (mean, share, count)


@dataclass(frozen=True)
class Elsewhere:
    """How the jobs differ from what the model says, and how far off the belief may then be."""

    bar: float
    sure: float
    weight: Callable[[Hypothesis], float] | None = None
    world: dict[str, float] = field(default_factory=dict)


def intermittent_too_often(h: Hypothesis) -> float:
    return 3.0 if h.shows is not None else 1.0


def unlisted_too_often(h: Hypothesis) -> float:
    return 3.0 if h.kind == "other" else 1.0


def off_by_two(h: Hypothesis) -> float:
    """Twice or half of its weight, in turn."""
    return 2.0 if sum(map(ord, h.id)) % 2 else 0.5


ELSEWHERE = {
    "meter 1 % off": Elsewhere(0.01, 0.03, world={"meter_bias": 0.01}),
    "slips doubled": Elsewhere(0.01, 0.03, world={"slip": 0.04}),
    "intermittent faults three times as often, showing half as often": Elsewhere(
        0.015, 0.03, intermittent_too_often, {"shows_share": 0.5}
    ),
    "unlisted faults three times as often": Elsewhere(0.012, 0.04, unlisted_too_often),
    "unlisted faults three times as often, in a quarter of the tests": Elsewhere(
        0.02, 0.08, unlisted_too_often, {"few": 0.25}
    ),
    "weights off by a factor of two": Elsewhere(0.012, 0.03, off_by_two),
}


@pytest.mark.parametrize("name", ELSEWHERE)
def test_calibration_on_jobs_drawn_from_elsewhere(name: str) -> None:
    case = ELSEWHERE[name]
    found = stated_beliefs(800, 13, weight=case.weight, **case.world)
    print(f"{name}: calibration error {found.error:.4f}, of the sure ones {found.sure:.1%} wrong")
    assert found.error <= case.bar
    assert found.sure <= case.sure
