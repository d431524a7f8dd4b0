"""Large tasks: the gap between the bounds, and plans carried out against a common rule.

The rule: the test with the most information on the cure set for its price, until one set is
likely enough; then stop (goal ``part``) or fit it (goal ``cured``). It is given the best of
eight thresholds for each task, after the fact. Both are carried out on the same draws: every
fault once, weighed by its prior, with the same luck in every test; the planner plans anew
after every outcome. Stopping is charged its mean over the faults still possible.

    python -m benchmarks planner_large
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

from benchmarks.planner_reference import seed, unavoidable
from benchmarks.planner_tasks import large_task
from knowngood.isolate.planner import Plan, plan
from knowngood.isolate.task import Fault, Goal, Task

TASKS = 20
DEADLINE = 0.15
THRESHOLDS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
Draw = tuple[int, np.ndarray]


def after(task: Task, test: str, outcome: int) -> Task:
    """The task that is left once a test has come out."""
    t = next(t for t in task.tests if t.id == test)
    _, now = task.reach(t.needs, t.closed, task.cover_mask(task.opened))
    weights = task.weights * t.given[outcome]
    weights = weights / weights.sum()
    faults = tuple(
        Fault(f.id, float(w), f.parts) for f, w in zip(task.faults, weights, strict=True)
    )
    opened = frozenset(c.id for i, c in enumerate(task.covers) if now >> i & 1)
    return dataclasses.replace(task, faults=faults, opened=opened, used=task.used | {test})


def fitted(task: Task, part: str) -> Task:
    """The task that is left once a part was fitted in vain."""
    p = task.parts[task.part_at[part]]
    _, now = task.reach(p.needs, p.closed, task.cover_mask(task.opened))
    opened = frozenset(c.id for i, c in enumerate(task.covers) if now >> i & 1)
    return dataclasses.replace(task, opened=opened, fitted=task.fitted | {part})


def step_price(task: Task, kind: str, name: str) -> float:
    """Price of one step with its covers."""
    steps = task.tests if kind == "test" else task.parts
    s = next(s for s in steps if s.id == name)
    return s.price + task.reach(s.needs, s.closed, task.cover_mask(task.opened))[0]


def carried_out(task: Task, draw: Draw, choose: Any) -> float:
    """Price of one job: ``choose(task, history)`` names each step until the end."""
    fault, luck = draw
    names = [t.id for t in task.tests]
    spent = 0.0
    history: tuple[tuple[Any, int], ...] = ()
    while True:
        kind, name = choose(task, history)
        if kind == "give_up":
            assert task.give_up is not None
            return spent + task.give_up
        if kind == "stop":  # its mean over the faults still possible, to spare many draws
            named = [i for i, k in enumerate(task.set_of) if "+".join(task.cure_sets[k]) == name]
            assert task.wrong_price is not None
            return spent + task.wrong_price * (1.0 - float(task.weights[named].sum()))
        spent += step_price(task, kind, name)
        if kind == "test":
            k = names.index(name)
            odds = np.cumsum(task.tests[k].given[:, fault])
            outcome = int(min(np.searchsorted(odds, luck[k] * odds[-1]), len(odds) - 1))
            task = after(task, name, outcome)
            history = (*history, (name, outcome))
        else:
            parts = task.faults[fault].parts
            if parts and set(parts) <= task.fitted | {name}:
                return spent
            task = fitted(task, name)
            history = (*history, (name, -1))


class Planned:
    """The planner's first step, planned anew at every standing (once for each)."""

    def __init__(self) -> None:
        self.seen: dict[Any, tuple[str, str]] = {}

    def __call__(self, task: Task, history: Any) -> tuple[str, str]:
        if history not in self.seen:
            best = plan(task, deadline=DEADLINE, exact=False).next[0]
            self.seen[history] = (best.kind, best.id)
        return self.seen[history]


class Rule:
    """Information on the cure set for the price, until a set is likely enough."""

    def __init__(self, threshold: float) -> None:
        self.threshold = threshold
        self.seen: dict[Any, tuple[str, str]] = {}

    def __call__(self, task: Task, history: Any) -> tuple[str, str]:
        if history not in self.seen:
            self.seen[history] = self._choose(task)
        return self.seen[history]

    def _choose(self, task: Task) -> tuple[str, str]:
        member = np.eye(len(task.cure_sets))[task.set_of]
        share = task.weights @ member
        best = int(share.argmax())
        test = None if share[best] >= self.threshold else self._test(task, member)
        if test is not None:
            return "test", test
        if task.goal == "part":
            return "stop", "+".join(task.cure_sets[best])
        left = [p for p in task.cure_sets[best] if p not in task.fitted]
        return ("part", left[0]) if left else ("give_up", "")

    def _test(self, task: Task, member: np.ndarray) -> str | None:
        found, pick = 1e-9, None
        had = bits(task.weights @ member)
        for t in task.tests:
            if t.id in task.used:
                continue
            joint = (t.given * task.weights) @ member
            p = joint.sum(1)
            gain = had - math.fsum(q * bits(j / q) for q, j in zip(p, joint, strict=True) if q > 0)
            worth = gain / (step_price(task, "test", t.id) + 1e-9)
            if worth > found:
                found, pick = worth, t.id
        return pick


def bits(share: np.ndarray) -> float:
    """Entropy."""
    q = share[share > 0]
    return float(-(q * np.log2(q)).sum())


def one(task: Task, rng: np.random.Generator) -> tuple[Plan, float, float]:
    """(first plan, mean price carried out with planning, and by the rule at its best)."""
    draws: list[Draw] = [(f, rng.random(len(task.tests))) for f in range(len(task.faults))]
    planned = Planned()
    rules = [Rule(t) for t in THRESHOLDS]
    price = rule_price = 0.0
    rule_prices = np.zeros(len(rules))
    for draw in draws:
        w = float(task.weights[draw[0]])
        price += w * carried_out(task, draw, planned)
        for k, rule in enumerate(rules):
            rule_prices[k] += w * carried_out(task, draw, rule)
    rule_price = float(rule_prices.min())
    return plan(task, deadline=DEADLINE, exact=False), price, rule_price


def run(tasks: int = TASKS) -> dict[str, Any]:
    """Gaps and prices for both goals."""
    base = seed()
    plan(large_task(np.random.default_rng(0), "cured"), max_expansions=50)
    rows = []
    goals: tuple[Goal, ...] = ("part", "cured")
    for goal in goals:
        gaps, ratios, free_ratios = [], [], []
        for k in range(tasks // 2):
            rng = np.random.default_rng([base, k, goal == "cured"])
            task = large_task(rng, goal)
            first, price, rule = one(task, rng)
            free = unavoidable(task)
            gaps.append((first.upper - first.lower) / first.upper)
            ratios.append(price / rule)
            free_ratios.append((price - free) / (rule - free))
        rows.append(
            {
                "goal": goal,
                "tasks": len(gaps),
                "gap, mean": f"{100 * np.mean(gaps):.1f} %",
                "price over the rule's, mean": f"{np.mean(ratios):.3f}",
                "worst": f"{np.max(ratios):.3f}",
                "avoidable, mean": f"{np.mean(free_ratios):.3f}",
                "avoidable, worst": f"{np.max(free_ratios):.3f}",
            }
        )
    return {
        "title": "The planner on large tasks, against information for the price",
        "claim": (
            "On tasks of 25-40 faults and 40-60 tests, planning anew at each step within 150 ms "
            "costs less than the best-tuned rule 'most information for the price'."
        ),
        "rows": rows,
        "notes": (
            "Gap: upper less lower bound of the first plan, over the upper. Carried out: every "
            "fault once, weighed by its prior, with the same luck for both; the rule has the best "
            "of eight thresholds for each task after the fact. 'Avoidable' leaves out the true "
            "part's own price. Bounds of goal part stay wide: what tells thirty faults apart for "
            "certain costs little, what is needed in practice is hard to bound from below. Tasks "
            f"are drawn with the commit as seed ({base})."
        ),
        "command": "python -m benchmarks planner_large",
    }


def main() -> None:
    """Print the figures."""
    answer = run()
    print(answer["title"])
    for row in answer["rows"]:
        print("  ".join(f"{k} {v}" for k, v in row.items()))
    print(answer["notes"])


if __name__ == "__main__":
    main()
