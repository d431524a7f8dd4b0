"""What a machine file can tell, at what price: read before the first job is done with it.

For each complaint a plan that goes on to proof is made; its steps give the minutes to expect and
the tests that earn their place. A test that comes up in less than one job in a hundred, neither
where the plan insists on proof nor at the shop's prices, tells nothing about the listed parts that
others do not. A look for a hazard and a test that others or a cause wait for are not counted by
that: they are kept for safety.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from knowngood.diagnosis.assess import Setup, set_up
from knowngood.diagnosis.steps import opening_order
from knowngood.isolate.advice import advise
from knowngood.isolate.belief import weigh
from knowngood.isolate.policy import Node
from knowngood.isolate.prices import Prices
from knowngood.isolate.task import Task
from knowngood.machines.apart import untold_pairs
from knowngood.machines.machine import Machine
from knowngood.machines.telling import telling_kind
from knowngood.machines.wire import wire

INSISTS: Final = 20.0  # a stop without proof costs this many comebacks: the plan goes on to proof
EXPANSIONS: Final = 250
SELDOM: Final = 0.01  # a test that comes up less often than this in every plan never decides


@dataclass(frozen=True, slots=True)
class Untold:
    """Two faults in different parts that no test tells apart, and the kind of test that would."""

    first: str
    second: str
    nearest: str | None
    kind: str


@dataclass(frozen=True, slots=True)
class ComplaintAudit:
    """``share`` of the jobs that come in with it; ``minutes`` to expect until the part is proven,
    teardown there and back included; ``steps`` to expect; ``tests`` of the plan."""

    id: str
    words: str
    share: float
    minutes: float
    steps: float
    tests: frozenset[str]


@dataclass(frozen=True, slots=True)
class Audit:
    """``idle``: tests that never decide, each with the reason in words. ``safety``: those that do
    not decide either, but keep hands, part or meter safe. ``minutes``: mean over the complaints by
    their share."""

    untold: tuple[Untold, ...]
    idle: tuple[tuple[str, str], ...]
    complaints: tuple[ComplaintAudit, ...]
    safety: tuple[str, ...] = ()

    @property
    def minutes(self) -> float:
        return sum(c.share * c.minutes for c in self.complaints)


def audit(machine: Machine, prices: Prices | None = None, expansions: int = EXPANSIONS) -> Audit:
    """The audit of a sound machine, on an ordinary meter. Some seconds a complaint."""
    prices = prices or Prices()
    free = replace(machine, tests=tuple(replace(t, after=()) for t in machine.tests))
    listed = replace(free, other_weight=0.0)  # any reading at all speaks about what is not listed
    insists = replace(prices, claim_worth=INSISTS * prices.comeback, denied=1.0)
    mass = {c.id: sum(f.weight * c.given.get(f.id, c.others) for f in machine.faults)
            for c in machine.complaints}  # fmt: skip
    whole = sum(mass.values()) or 1.0
    found, used = [], set[str]()
    for c in machine.complaints:
        minutes, steps, tests = _expected(set_up(free, c.id, None, insists), expansions)
        for rates in (insists, prices):
            used |= _expected(set_up(listed, c.id, None, rates), expansions)[2]
        found.append(ComplaintAudit(c.id, c.words, mass[c.id] / whole, minutes, steps,
                                    frozenset(tests)))  # fmt: skip
    wired = wire(machine, None)
    untold = tuple(Untold(p.first, p.second, p.test, telling_kind(machine, p.first, p.second))
                   for p in untold_pairs(wired))  # fmt: skip
    idle = tuple((t.id, _why_idle(t.expect and any(f != t.good for f in t.expect.values())))
                 for t in wired.tests if t.id not in used and not t.generated)  # fmt: skip
    kept = kept_for_safety(machine)
    return Audit(untold, tuple(i for i in idle if i[0] not in kept), tuple(found),
                 tuple(id for id, _ in idle if id in kept))  # fmt: skip


def kept_for_safety(machine: Machine) -> frozenset[str]:
    """Looks for a hazard, tests to be read before others, and those that a cause is read by."""
    before = {id for t in machine.tests for id in t.after}
    causes = {id for c in machine.causes for id in c.read_by}
    return frozenset(before | causes | {t.id for t in machine.tests if t.hazard or t.holds})


def _why_idle(tells: object) -> str:
    if not tells:
        return "it reads the same under every fault"
    return (
        "it comes up in less than one job in a hundred: a cheaper test tells the same, or it"
        " decides nothing"
    )


def _expected(setup: Setup, expansions: int) -> tuple[float, float, set[str]]:
    """(minutes, steps, tests) of the plan from the start, by its outcomes."""
    bench = setup.bench
    advice = advise(bench, weigh(bench.table, []), deadline=None, max_expansions=expansions)
    walk = _Walk(setup, advice.task)
    minutes, steps = walk.down(advice.plan.policy, advice.task.weights, frozenset())
    return minutes, steps, {t for t, reached in walk.reached.items() if reached >= SELDOM}


class _Walk:
    """Down a plan with the weight of each fault that is still in play."""

    def __init__(self, setup: Setup, task: Task) -> None:
        self.setup, self.reached = setup, dict[str, float]()
        self.given = {t.id: dict(zip(t.outcomes, t.given, strict=True)) for t in task.tests}
        self.steps = {t.id: t for t in setup.machine.teardown}

    def down(
        self, node: Node, mass: NDArray[np.float64], opened: frozenset[str]
    ) -> tuple[float, float]:
        """(minutes, steps) from here, times the mass in play."""
        if node.kind != "test":
            return 0.0, 0.0
        row = self.setup.bench.table.rows[node.id]
        self.reached[node.id] = self.reached.get(node.id, 0.0) + float(mass.sum())
        order = opening_order(self.setup.machine, row.open, opened)
        own = row.minutes + sum(self.steps[s].minutes + self.steps[s].back_minutes for s in order)
        minutes, steps = own * float(mass.sum()), float(mass.sum())
        opened = (opened | set(order)) - set(row.closed)
        for outcome, child in node.then:
            left = mass * self.given[node.id][outcome]
            more, further = self.down(child, left, opened)
            minutes, steps = minutes + more, steps + further
        return minutes, steps
