"""Stated belief against how often it is true, on jobs drawn from the model and from elsewhere.

Random steps, no planner. On jobs drawn from the model each decile must lie inside its 99.9 %
binomial interval, the calibration error must be .015 or less, and the calibration slope must be 1
within its 99.9 % interval: the power to which all stated beliefs of a job must be raised (and made
to sum to 1 again) to be likeliest, after Cox, "Two further applications of a model for binary
regression", Biometrika 45 (1958), here for several outcomes. Beliefs a third too sure or too
unsure lie in those deciles, but not on that slope. On jobs from elsewhere the belief cannot be
right; the bars say how far off it may be, and what was found is printed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

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


@dataclass(frozen=True)
class Stated:
    """``belief``: (jobs, sets), each row summing to 1; ``true``: (jobs,), place of the true set."""

    belief: np.ndarray
    true: np.ndarray

    def found(self) -> Found:
        sets = np.arange(self.belief.shape[1])
        return calibration(self.belief.ravel(), (self.true[:, None] == sets).ravel().astype(float))

    def to_the(self, power: float) -> Stated:
        """Sharpened (over 1) or blurred (under 1)."""
        raised = self.belief**power
        return Stated(raised / raised.sum(axis=1, keepdims=True), self.true)

    def slope(self) -> tuple[float, float]:
        """The likeliest power and its standard error (Newton's steps on a concave function)."""
        log, slope, step = np.log(np.maximum(self.belief, 1e-300)), 1.0, np.inf
        while abs(step) > 1e-9:
            p = np.exp(slope * log - (slope * log).max(axis=1, keepdims=True))
            p /= p.sum(axis=1, keepdims=True)
            mean = (p * log).sum(axis=1)
            known = float(((p * log**2).sum(axis=1) - mean**2).sum())
            step = float((log[np.arange(self.true.size), self.true] - mean).sum()) / known
            slope += step
        return slope, known**-0.5

    def slope_fits(self) -> bool:
        slope, error = self.slope()
        return abs(slope - 1) <= float(stats.norm.ppf(0.9995)) * error


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
) -> Stated:  # fmt: skip
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
        stated.append([belief.get(s, 0.0) for s in sets])
        true.append(sets.index(TABLE.hypotheses[truth].parts))
    return Stated(np.array(stated), np.array(true))


@cache
def jobs_of_the_model(most_times: int) -> Stated:
    return stated_beliefs(2500 if most_times == 1 else 1200, 11, most_times=most_times)


TIMES = pytest.mark.parametrize("most_times", [1, 3], ids=["read once", "read up to three times"])


@TIMES
def test_stated_belief_is_calibrated_on_jobs_drawn_from_the_model(most_times: int) -> None:
    jobs = jobs_of_the_model(most_times)
    assert jobs.slope_fits(), jobs.slope()
    found = jobs.found()
    assert found.error <= 0.015
    for mean, share, count in found.deciles:
        low, high = stats.binom.interval(0.999, count, mean)
        assert low - 1 <= share * count <= high + 1, (mean, share, count)


@TIMES
@pytest.mark.parametrize("power", [1.3, 1 / 1.3], ids=["sharpened", "blurred"])
def test_beliefs_that_are_too_sure_or_too_unsure_are_seen(most_times: int, power: float) -> None:
    jobs = jobs_of_the_model(most_times).to_the(power)
    assert not jobs.slope_fits()
    assert jobs.slope()[0] == pytest.approx(jobs_of_the_model(most_times).slope()[0] / power)


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
    jobs = stated_beliefs(800, 13, weight=case.weight, **case.world)  # type: ignore[arg-type]
    found = jobs.found()
    print(f"{name}: calibration error {found.error:.4f}, of the sure ones {found.sure:.1%} wrong")
    assert found.error <= case.bar
    assert found.sure <= case.sure
