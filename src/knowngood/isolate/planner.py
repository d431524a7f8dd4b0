"""The cheapest next step: every step possible now with its price, and a complete plan."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from knowngood.isolate.bounds import Bounds
from knowngood.isolate.extract import Extract
from knowngood.isolate.graph import Graph, search
from knowngood.isolate.look import FEW
from knowngood.isolate.model import Model
from knowngood.isolate.policy import Node
from knowngood.isolate.task import Floats, Task, unanswerable

RESERVE = 0.08
MOST_CELLS = 100_000_000
OTHERS = 3.0
WANTED, MOST_WANTED = 0.35, 3  # share of the time for the first tests asked for, and how many
StepKind = Literal["test", "part", "stop", "give_up"]


@dataclass(frozen=True, slots=True)
class Step:
    """A step possible now. ``price``: the expected price to the end if one starts with it and
    goes on as planned; the best one can do after it lies from ``lower`` to ``upper``.

    The id of a stop is its parts joined by ``+``; giving up has none.
    """

    kind: StepKind
    id: str
    price: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Plan:
    """An answer: ``next`` has every step possible now, cheapest first; ``policy`` is complete.

    ``expected_price`` is the exact price of ``policy``; the optimum lies from ``lower`` to
    ``upper`` (not above ``expected_price``). ``exact``: the two are one. ``seconds`` counts
    the setting up; ``expansions``: standings looked into.
    """

    expected_price: float
    exact: bool
    lower: float
    upper: float
    seconds: float
    expansions: int
    next: tuple[Step, ...]
    policy: Node
    task: Task = field(repr=False, compare=False)


def plan(
    task: Task,
    *,
    deadline: float | None = 0.15,
    max_expansions: int | None = None,
    exact: bool | None = None,
    clock: Callable[[], float] = time.perf_counter,
    wanted: Collection[str] = (),
) -> Plan:
    """The cheapest way to the goal within ``deadline`` seconds (None: as long as it takes).

    ``max_expansions`` makes the answer repeatable on any machine. ``exact``: True sets
    no limit; the answer is exact whenever the bounds have met. ``clock``
    tells the seconds (on a busy machine its own processor time may be the fairer one).
    ``wanted``: first tests that are looked into in any case, the rest of the time is for all.
    ValueError when no plan ends (see `unanswerable`), or when the task is `too_large`.
    """
    started = clock()
    if reason := too_large(task):
        raise ValueError(reason)
    pair = unanswerable(task)
    if pair:
        raise ValueError(no_answer(pair))
    if exact:
        deadline = max_expansions = None
    graph = Graph(model := Model(task), Bounds(model))
    reserve = RESERVE if model.T <= FEW else 2.2 * RESERVE
    until = math.inf if deadline is None else started + deadline * (1.0 - reserve)
    hold = WANTED * (until - started) if wanted and deadline is not None else 0.0
    search(graph, until=until - hold, max_expansions=max_expansions, clock=clock)
    if not graph.closed():
        _look_into(graph, wanted, until, max_expansions, clock)
    used = clock() - started
    if graph.closed():
        _close_others(graph, min(until, started + OTHERS * used + 0.01), max_expansions, clock)
    extract = Extract(graph)
    node, price = extract.entry(0)
    lower, upper = float(graph.lower[0]), min(float(graph.upper[0]), price)
    closed = price - lower <= 1e-9 * max(price, 1e-300)
    if closed:
        lower = upper = price
    steps = _steps(graph, node, price, lower, extract.proof_lost())
    seconds = clock() - started
    return Plan(price, closed, lower, upper, seconds, graph.count, steps, node, task)


def _look_into(
    graph: Graph, wanted: Collection[str], until: float, max_expansions: int | None,
    clock: Callable[[], float],
) -> None:  # fmt: skip
    """Spend what is left on these first tests, the ones of least price to begin with."""
    price, m = graph.bounds.price[0], graph.model
    ready = m.ready(np.ones((1, m.T), dtype=bool))[0]
    steps = sorted((float(price[a]), a) for a, t in enumerate(m.tests)
                   if t.id in wanted and ready[a] and math.isfinite(graph.q_low[0, a]))  # fmt: skip
    for n, (_, a) in enumerate(steps[:MOST_WANTED]):
        now, left = clock(), min(len(steps), MOST_WANTED) - n
        most = None if max_expansions is None else graph.count + max_expansions // 4
        end = now + (until - now) / left if math.isfinite(until) else until
        search(graph, until=end, max_expansions=most, first=a, clock=clock)


def _close_others(
    graph: Graph, until: float, max_expansions: int | None, clock: Callable[[], float]
) -> None:
    """Spend what is left on the steps one would not take, so that an override has a price."""
    for a in np.argsort(graph.q_low[0], kind="stable"):
        if math.isfinite(graph.q_low[0, a]) and clock() < until:
            search(graph, until=until, max_expansions=max_expansions, first=int(a), clock=clock)


def _steps(
    graph: Graph, best: Node, price: float, lower: float, lost: Floats
) -> tuple[Step, ...]:
    """Every step possible at the root. ``lost`` (T,): see `Extract.proof_lost`."""
    m, task = graph.model, graph.model.task
    low, high = graph.q_low[0].copy(), graph.q_high[0].copy()
    now = graph.bounds.price[0]
    idle = np.flatnonzero(~np.isfinite(low))  # of them, those that wait for others are left out
    if len(idle):
        belief = np.repeat(m.weight[None, :], len(idle), axis=0)
        avail = np.repeat(graph.avail[:1], len(idle), axis=0)
        is_test = idle < m.T
        avail[is_test, idle[is_test]] = False
        frame = np.zeros(len(idle), dtype=np.int64)
        graph.bounds.ready(frame[:1])
        frame[is_test] = graph.bounds.test_frame[0, idle[is_test]]
        parts = idle[~is_test] - m.T
        frame[~is_test] = graph.bounds.after_parts(frame[~is_test] * 0, parts)
        out = np.repeat(graph.out[:1], len(idle), axis=0) if m.proof else None
        kid = graph.add(belief, frame, avail, out)
        low[idle], high[idle] = now[idle] + graph.lower[kid], now[idle] + graph.upper[kid]
    shuts = any(p.closed for p in task.parts) or any(t.closed for t in task.tests)
    stays = graph.bounds.to[0] == graph.bounds.open_id[0]  # no cover moves
    ignored = now + price  # take it, and go on by the plan as if it had not been taken
    ignored[: m.T] += lost
    high = np.where(stays | (not shuts), np.minimum(high, ignored), high)
    low = np.minimum(np.maximum(low, lower), high)
    names = [t.id for t in m.tests] + [p.id for p in m.parts]
    waits = m.ready(np.ones((1, m.T), dtype=bool))[0] ^ True
    steps = []
    for a, name in enumerate(names):
        if a < m.T and waits[a]:
            continue
        kind: StepKind = "test" if a < m.T else "part"
        steps.append(Step(kind, name, float(high[a]), float(low[a]), float(high[a])))
    end = float(graph.end[0])
    if math.isfinite(end):
        if m.cured:
            steps.append(Step("give_up", "", end, end, end))
        else:
            s = int(m.stops(m.weight, m.out0 if m.proof else None).argmin())
            parts_named = "+".join(task.cure_sets[int(m.set_ids[s])])
            steps.append(Step("stop", parts_named, end, end, end))
    kind_now, name_now = best.kind, best.id
    if best.kind == "fit_order":
        kind_now, name_now = "part", best.parts[0]
    elif best.kind == "stop":
        name_now = "+".join(best.parts)
    out_steps = []
    for step in steps:
        # a step cheaper than the plan is a tie, but for the last digit
        if (step.kind, step.id) == (kind_now, name_now) or step.price < price:
            step = Step(step.kind, step.id, price, min(step.lower, price), price)
        out_steps.append((step.price, (step.kind, step.id) != (kind_now, name_now), step))
    return tuple(s for _, _, s in sorted(out_steps, key=lambda x: x[:2]))


def too_large(task: Task) -> str:
    """Why the task does not fit into memory or time, and the way out; "" when it does."""
    n = int((task.weights > 0).sum())
    tests = [t for t in task.tests if t.id not in task.used]
    outcomes = max((len(t.outcomes) for t in tests), default=1)
    cells = n * len(tests) * outcomes
    if task.goal == "cured":
        cells += n * len(task.parts) * (len(task.parts) + 64)
    if cells <= MOST_CELLS:
        return ""
    return (
        f"{n} faults, {len(tests)} tests and {len(task.parts)} parts are too many to plan for: "
        f"{cells:,} cells of {MOST_CELLS:,}; leave out the least likely faults and the tests that "
        "see only those"
    )


def no_answer(pair: tuple[str, str]) -> str:
    """Why no plan ends, and the way out."""
    return (
        f"faults {pair[0]!r} and {pair[1]!r} have different parts and every test can come out "
        "alike for both, so the search may never end; give a wrong_price or a test that "
        "tells them apart"
    )
