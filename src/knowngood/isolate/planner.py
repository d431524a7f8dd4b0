"""The cheapest next step: every step possible now with its price, and a complete plan."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field
from typing import Literal

from knowngood.isolate.exact import Exact
from knowngood.isolate.policy import Node, evaluate
from knowngood.isolate.task import Task, unanswerable

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
) -> Plan:
    """The cheapest way to the goal within ``deadline`` seconds (None: as long as it takes).

    ``max_expansions`` makes the answer repeatable on any machine. ``exact``: True solves by
    dynamic programming, False never does, None leaves it to the size of the task.
    ValueError when no plan ends (see `unanswerable`).
    """
    started = time.perf_counter()
    pair = unanswerable(task)
    if pair:
        raise ValueError(no_answer(pair))
    solver = Exact(task, most=10**9)
    price, node = solver.root()
    steps = tuple(
        Step(kind, name, q, q, q)  # type: ignore[arg-type]
        for kind, name, q in solver.steps()
        if not math.isinf(q)
    )
    price = evaluate(task, node)
    seconds = time.perf_counter() - started
    return Plan(price, True, price, price, seconds, len(solver.table), steps, node, task)


def no_answer(pair: tuple[str, str]) -> str:
    """Why no plan ends, and the way out."""
    return (
        f"faults {pair[0]!r} and {pair[1]!r} have different parts and every test can come out "
        "alike for both, so the search may never end; give a wrong_price or a test that "
        "tells them apart"
    )
