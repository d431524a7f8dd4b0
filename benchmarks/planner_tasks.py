"""Invented tasks for measuring the planner: sizes as on a bench, prices in minutes or money."""

from __future__ import annotations

import numpy as np

from knowngood.isolate.task import Cover, Fault, Goal, Part, Task, Test


def small_task(rng: np.random.Generator, goal: Goal) -> Task:
    """6-12 faults, 5-10 noisy tests, 3 covers, two-part cure sets and "other" among them."""
    return _task(rng, goal, int(rng.integers(6, 13)), int(rng.integers(5, 11)), 3)


def large_task(rng: np.random.Generator, goal: Goal) -> Task:
    """25-40 faults, 40-60 tests, 5 covers; most tests read a value, in up to five bands."""
    return _task(rng, goal, int(rng.integers(25, 41)), int(rng.integers(40, 61)), 5, bands=5)


def _task(
    rng: np.random.Generator, goal: Goal, n: int, n_tests: int, n_covers: int, bands: int = 3
) -> Task:
    covers: list[Cover] = []
    for i in range(n_covers):
        needs = (f"c{rng.integers(i)}",) if i and rng.random() < 0.5 else ()
        covers.append(Cover(f"c{i}", float(rng.integers(2, 13)), needs))

    def some_covers(share: float) -> tuple[str, ...]:
        return (f"c{rng.integers(n_covers)}",) if rng.random() < share else ()

    n_parts = max(3, round(n * rng.uniform(0.6, 0.9)))
    parts = tuple(
        Part(f"p{i}", float(round(30 * 7 ** rng.random())), some_covers(0.7))
        for i in range(n_parts)
    )
    faults: list[Fault] = []
    weights = rng.gamma(0.7, size=n) + 0.01
    for i in range(n - 1):
        cure = [f"p{i % n_parts}"]
        if rng.random() < 0.15:
            cure.append(f"p{(i + 1 + rng.integers(n_parts - 1)) % n_parts}")
        faults.append(Fault(f"f{i}", float(weights[i]), tuple(cure)))
    faults.append(Fault("other", 0.05 * float(weights[:-1].sum())))
    tests = []
    for k in range(n_tests):
        n_out = 2 if rng.random() < 1.4 / bands else int(rng.integers(3, bands + 1))
        shown = rng.random(n - 1) < rng.uniform(0.15, 0.5) * (1.4 if n_out > 3 else 1.0)
        given = np.empty((n_out, n))
        for f in range(n - 1):
            right = int(rng.integers(1, n_out)) if shown[f] else 0
            sure = rng.uniform(0.94, 0.99)
            given[:, f] = (1 - sure) / (n_out - 1)
            given[right, f] = sure
        given[:, n - 1] = 1 / n_out
        names = ("pass", "low", "high", "far low", "far high")[:n_out]
        price = float(rng.integers(1, 7))
        tests.append(Test(f"t{k}", price, names, given, some_covers(0.5)))
    give_up = float(rng.integers(150, 301))
    wrong = float(rng.integers(80, 201))
    return Task(goal, tuple(faults), parts, tuple(covers), tuple(tests), give_up, wrong)
