"""What plans are measured against: an optimum found another way, and a plain reading of a plan.

Dynamic programming over every combination of outcomes seen so far and covers open (goal ``part``)
or parts fitted (goal ``cured``), all at once in arrays; exact, without bounds. Where parts make
the combinations too many, the planner's own bounds are taken after a long search. The tests hold
both against trying everything on tasks of up to six faults.
"""

from __future__ import annotations

import itertools
import math
import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np

from knowngood.isolate.planner import plan
from knowngood.isolate.task import Task

MOST = 300_000_000


def seed() -> int:
    """A number from the commit, so that nobody can pick the tasks."""
    command = ["git", "-C", str(Path(__file__).parent), "rev-parse", "HEAD"]
    try:
        run = subprocess.run(command, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return 1
    return int(run.stdout[:8], 16)


def bracket(task: Task, seconds: float, most: int = MOST) -> tuple[float, float]:
    """(lower, upper) bound of the optimum, equal where it is known; seconds of processor time."""
    if task.goal == "part" or standings(task) <= most:
        best = part_optimum(task) if task.goal == "part" else cured_optimum(task)
        return best, best
    long = plan(task, deadline=seconds, exact=False, clock=time.process_time)
    return long.lower, long.upper


def part_optimum(task: Task) -> float:
    """The optimum of a task with goal ``part`` and a wrong price, without proof or closing."""
    assert task.goal == "part" and task.wrong_price is not None
    tests = [t for t in task.tests if t.id not in task.used]
    sizes = [len(t.outcomes) + 1 for t in tests]
    mass = task.weights[None, :]
    used = np.zeros(1, dtype=np.int64)
    for t in tests:  # digit 0: not done; digit o + 1: outcome o
        factor = np.vstack([np.ones(len(task.faults)), t.given])
        mass = (mass[:, None, :] * factor[None]).reshape(-1, mass.shape[1])
        done = np.array([0] + [1] * len(t.outcomes))
        used = (used[:, None] + done[None]).ravel()
    strides = [math.prod(sizes[k + 1 :]) for k in range(len(tests))]
    total = mass.sum(1)
    sets = np.stack([mass[:, task.set_of == s].sum(1) for s in range(len(task.cure_sets))], 1)
    stop = task.wrong_price * (total - sets.max(1))
    opens = {task.cover_mask(task.opened): 0}
    ways: list[list[tuple[float, int]]] = []
    for now in opens_reached(task, tests, opens):
        row = []
        for t in tests:
            price, then = task.reach(t.needs, t.closed, now)
            row.append((price + t.price, opens[then]))
        ways.append(row)
    value = np.tile(stop, (len(opens), 1))
    index = np.arange(len(total))
    for level in range(len(tests) - 1, -1, -1):
        here = index[used == level]
        for k in range(len(tests)):
            free = here[(here // strides[k]) % sizes[k] == 0]
            for now in range(len(opens)):
                price, then = ways[now][k]
                q = price * total[free]
                for o in range(1, sizes[k]):
                    q = q + value[then, free + o * strides[k]]
                value[now, free] = np.minimum(value[now, free], q)
    return float(value[0, 0])


def opens_reached(task: Task, tests: list[Any], opens: dict[int, int]) -> list[int]:
    """Every combination of open covers that tests lead to; numbers them in ``opens``."""
    order = list(opens)
    for now in order:
        for t in tests:
            then = task.reach(t.needs, t.closed, now)[1]
            if then not in opens:
                opens[then] = len(order)
                order.append(then)
    return order


def cured_optimum(task: Task) -> float:
    """The optimum of a task with goal ``cured``, giving up allowed, nothing to be shut.

    What is open follows from the tests done and the parts fitted, so a standing is the outcomes
    seen and the parts fitted: all of them, from those with every test done to the start.
    """
    assert task.goal == "cured" and task.give_up is not None
    tests = [t for t in task.tests if t.id not in task.used]
    parts = [p for p in task.parts if p.id not in task.fitted]
    assert not any(t.closed for t in tests) and not any(p.closed for p in parts)
    fits = np.arange(1 << len(parts))
    has = (fits[:, None] >> np.arange(len(parts)) & 1).astype(bool)
    wants = np.array([[p.id in f.parts for p in parts] for f in task.faults], dtype=bool)
    lacking = (~has).astype(np.int64) @ wants.T.astype(np.int64) > 0  # (fits, faults)
    left = (lacking | ~task.curable).astype(float)
    order = [np.flatnonzero(has.sum(1) == c) for c in range(len(parts) - 1, -1, -1)]
    steps = [[(i[~has[i, p]], p) for p in range(len(parts))] for i in order]
    start = task.cover_mask(task.opened)
    opened = np.full(len(fits), start)
    for k, p in enumerate(parts):
        opened |= np.where(has[:, k], task.must_open(p.needs), 0)
    covers = np.array([c.price for c in task.covers])

    def way(needs: tuple[str, ...], now: np.ndarray) -> np.ndarray:
        want = task.must_open(needs) & ~now
        return np.asarray((want[:, None] >> np.arange(len(covers)) & 1) @ covers)

    later: dict[int, np.ndarray] = {}
    for count in range(len(tests), -1, -1):
        here: dict[int, np.ndarray] = {}
        for done in itertools.combinations(range(len(tests)), count):
            used = sum(1 << k for k in done)
            mass = task.weights[None, :]
            now = opened.copy()
            for k in done:
                mass = (mass[:, None, :] * tests[k].given[None]).reshape(-1, mass.shape[1])
                now |= task.must_open(tests[k].needs)
            weight = left @ mass.T  # (fits, histories)
            value = task.give_up * weight
            for k, t in enumerate(tests):
                if not used >> k & 1:
                    after = math.prod(len(tests[j].outcomes) for j in done if j > k)
                    then = later[used | 1 << k].reshape(len(fits), -1, len(t.outcomes), after)
                    q = (t.price + way(t.needs, now))[:, None] * weight
                    q += then.sum(2).reshape(q.shape)
                    np.minimum(value, q, out=value)
            price = [p.price + way(p.needs, now) for p in parts]
            for level in steps:
                for i, k in level:
                    q = price[k][i, None] * weight[i]
                    q += value[i | 1 << k]
                    value[i] = np.minimum(value[i], q)
            here[used] = value
        later = here
    return float(later[0][0, 0])


def standings(task: Task) -> int:
    """How many `cured_optimum` works out."""
    return math.prod(len(t.outcomes) + 1 for t in task.tests) << len(task.parts)


def follow(task: Task, tree: dict[str, Any]) -> float:
    """Expected price of a plan given as plain JSON, in scalars, step by step."""
    faults = {f.id: f for f in task.faults}
    total = math.fsum(f.weight for f in task.faults)
    mass = {f.id: f.weight / total for f in task.faults if f.weight > 0}
    return _follow(task, faults, tree, mass, task.cover_mask(task.opened), set(task.fitted))


def _follow(
    task: Task, faults: dict[str, Any], tree: dict[str, Any], mass: dict[str, float],
    now: int, fitted: set[str],
) -> float:  # fmt: skip
    total = math.fsum(mass.values())
    if "stop" in tree:
        named = set(tree["stop"])
        wrong = math.fsum(m for f, m in mass.items() if set(faults[f].parts) != named)
        return (task.wrong_price or math.inf) * wrong if wrong > 0 else 0.0
    if "give_up" in tree or tree.get("fit_order") == []:
        assert task.give_up is not None
        return task.give_up * total
    if tree.get("do", {}).get("kind") == "test":
        t = next(t for t in task.tests if t.id == tree["do"]["id"])
        price, now = task.reach(t.needs, t.closed, now)
        out = (price + t.price) * total
        for o, name in enumerate(t.outcomes):
            row = dict(zip(faults, t.given[o], strict=True))
            rest = {f: m * float(row[f]) for f, m in mass.items() if m * row[f] > 0}
            if rest:
                out += _follow(task, faults, tree["then"][name], rest, now, fitted)
        return out
    if "fit_order" in tree:
        part, rest_tree = tree["fit_order"][0], {"fit_order": tree["fit_order"][1:]}
    else:
        part, rest_tree = tree["do"]["id"], tree["then"].get("not cured", {})
    p = next(p for p in task.parts if p.id == part)
    price, now = task.reach(p.needs, p.closed, now)
    fitted = fitted | {part}
    rest = {f: m for f, m in mass.items() if not faults[f].parts or set(faults[f].parts) - fitted}
    out = (price + p.price) * total
    return out + (_follow(task, faults, rest_tree, rest, now, fitted) if rest else 0.0)


def unavoidable(task: Task) -> float:
    """What no plan avoids: the price if one knew the fault (goal ``part``: nothing)."""
    if task.goal == "part":
        return 0.0
    out, start = 0.0, task.cover_mask(task.opened)
    for f, w in zip(task.faults, task.weights, strict=True):
        price = math.inf if not f.parts else 0.0
        now = start
        for p in task.parts:
            if p.id in f.parts and p.id not in task.fitted:
                more, now = task.reach(p.needs, p.closed, now)
                price += more + p.price
        out += float(w) * min(price, math.inf if task.give_up is None else task.give_up)
    return out
