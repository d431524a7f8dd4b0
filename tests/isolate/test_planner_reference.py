"""What the benchmarks measure against, held against trying everything; and both in small."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks import planner_large, planner_small
from benchmarks.planner_reference import bracket, follow, part_optimum, unavoidable
from benchmarks.planner_tasks import small_task
from knowngood.isolate.planner import plan
from knowngood.isolate.policy import evaluate, policy_json
from knowngood.isolate.task import Goal
from tests.isolate.brute import optimum
from tests.isolate.test_planner import tiny


@pytest.mark.parametrize("seed", range(25))
def test_dynamic_programming_over_all_outcomes(seed: int) -> None:
    task = tiny(1000 + seed, "part")
    assert math.isclose(part_optimum(task), optimum(task), rel_tol=1e-9, abs_tol=1e-9)


@pytest.mark.parametrize("seed", range(25))
def test_long_search_brackets(seed: int) -> None:
    task = tiny(2000 + seed, "cured")
    low, high = bracket(task, 2.0)
    best = optimum(task)
    assert low - 1e-9 <= best <= high + 1e-9
    assert unavoidable(task) <= best + 1e-9


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("goal", ["part", "cured"])
def test_reading_a_plan_step_by_step(seed: int, goal: Goal) -> None:
    task = small_task(np.random.default_rng(seed), goal)
    p = plan(task, deadline=None, max_expansions=60)
    price = follow(task, policy_json(p.policy))
    assert math.isclose(price, evaluate(task, p.policy), rel_tol=1e-9)
    assert math.isclose(price, p.expected_price, rel_tol=1e-9)


def test_small_tasks_near_the_optimum() -> None:
    """The full run is ``python -m benchmarks planner_small``; here a few tasks, by count."""
    ratios = []
    for seed in range(6):
        task = small_task(np.random.default_rng([77, seed]), "part")
        p = plan(task, deadline=None, max_expansions=planner_small.EXPANSIONS)
        best = part_optimum(task)
        assert p.lower <= best * (1 + 1e-9) and p.upper >= best * (1 - 1e-9)
        ratios.append(p.expected_price / best)
    assert np.mean(ratios) <= 1.003 and max(ratios) <= 1.05


def test_a_large_task_carried_out_is_cheaper_than_the_rule() -> None:
    rng = np.random.default_rng(8)
    task = planner_large.large_task(rng, "part")
    draws = [(int(f), rng.random(len(task.tests))) for f in rng.choice(len(task.faults), 4, False)]
    planned = planner_large.Planned()
    rules = [planner_large.Rule(t) for t in planner_large.THRESHOLDS]
    ours = sum(planner_large.carried_out(task, d, planned) for d in draws)
    theirs = [sum(planner_large.carried_out(task, d, r) for d in draws) for r in rules]
    assert ours <= 1.1 * np.median(theirs)
