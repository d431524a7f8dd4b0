"""What the benchmarks measure against, held against trying everything; and both in small."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks import planner_large, planner_small
from benchmarks.planner_reference import (
    bracket,
    cured_optimum,
    follow,
    part_optimum,
    unavoidable,
)
from benchmarks.planner_tasks import small_task
from knowngood.isolate.planner import plan
from knowngood.isolate.policy import evaluate, policy_json
from knowngood.isolate.task import Goal, Task
from tests.isolate.brute import optimum
from tests.isolate.test_planner import tiny


@pytest.mark.parametrize("seed", range(25))
def test_dynamic_programming_over_all_outcomes(seed: int) -> None:
    task = tiny(1000 + seed, "part")
    assert math.isclose(part_optimum(task), optimum(task), rel_tol=1e-9, abs_tol=1e-9)


@pytest.mark.parametrize("seed", range(25))
def test_dynamic_programming_over_all_outcomes_and_parts(seed: int) -> None:
    task = tiny(3000 + seed, "cured")
    assert math.isclose(cured_optimum(task), optimum(task), rel_tol=1e-9, abs_tol=1e-9)


@pytest.mark.parametrize("seed", range(25))
def test_long_search_brackets(seed: int) -> None:
    task = tiny(2000 + seed, "cured")
    low, high = bracket(task, 2.0, most=0)
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


def test_the_rule_is_priced_as_a_plain_plan_is() -> None:
    """Its threshold at certainty: a plan of tests until nothing more is told, then the stop."""
    for seed in range(6):
        task = small_task(np.random.default_rng([5, seed]), "part")
        rule = planner_large.Rule(task)
        prices = [rule.price(x) for x in planner_large.THRESHOLDS]
        best = part_optimum(task)
        assert all(p >= best * (1 - 1e-3) for p in prices)
        assert math.isclose(rule.price(0.0), stop_now(task), rel_tol=1e-9)


def stop_now(task: Task) -> float:
    share = task.weights @ np.eye(len(task.cure_sets))[task.set_of]
    assert task.wrong_price is not None
    return task.wrong_price * (1.0 - float(share.max()))


@pytest.mark.parametrize("goal", ["part", "cured"])
def test_planning_anew_costs_no_more_than_the_first_plan(goal: Goal) -> None:
    for seed in range(3):
        task = small_task(np.random.default_rng([8, seed]), goal)
        first = planner_large.planned(task, 12)
        price = planner_large.Planned(12).price(task)
        assert price <= first.expected_price * (1 + 1e-9)
        assert price >= plan(task, deadline=None, max_expansions=400).lower * (1 - 1e-9)
