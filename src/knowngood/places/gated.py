"""A plan for paper that keeps the live gate: a live step follows only from the good band.

The planner knows that a test at rest comes before the live ones that wait for it, not that it has
to be good (`diagnosis.gate`). On a screen the gate is judged after each reading; on paper nobody
judges, so every way on from a proof that is not good is planned anew without what that holds.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import inf
from typing import Final

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.gate import Barrier, barriers, open_is_good
from knowngood.diagnosis.hazard import bad_answer
from knowngood.isolate.advice import Advice, Bench
from knowngood.isolate.planner import plan
from knowngood.isolate.policy import COME_BACK, Node, Standing, after_test, evaluate
from knowngood.isolate.task import Task
from knowngood.machines.machine import Test

NOTHING: Final[frozenset[str]] = frozenset()
NEVER: Final = (inf, -inf)
"""From where to where it reads good, of a test that never does."""
LOOKS: Final = 24
"""Looks of the planner for each way that has to be planned anew."""


def good_labels(bench: Bench, test: str) -> frozenset[str]:
    """The outcomes of a test that others wait for, after which those may be taken."""
    low, high = bench.good.get(test, NEVER)
    stretches = enumerate(pairwise(bench.bands(test).edges), start=1)
    over = {"over"} if high == inf and open_is_good(bench.table.rows[test]) else set()
    return frozenset(f"band{n}" for n, (a, b) in stretches if low <= a and b <= high) | over


def _holds(bench: Bench, test: Test, barrier: Barrier) -> Mapping[str, frozenset[str]]:
    """The outcomes of a test that are not good, each with what it holds."""
    bands = bench.bands(test.id)
    if barrier.kind == "look":
        return {bad_answer(test): barrier.held(open_end=False)}
    good, high = good_labels(bench, test.id), bench.good.get(test.id, (0.0, inf))[1]
    above = {f"band{n}" for n, low in enumerate(bands.edges[:-1], start=1) if low >= high}
    above = {*above, "over"} if -inf < high < inf else set()
    return {label: barrier.held(open_end=label in above)
            for label in bands.labels if label not in good}  # fmt: skip


def keep_gate(setup: Setup, advice: Advice) -> Advice:
    """The same advice with a policy in which no live test follows from a proof that is not good."""
    task, start = advice.task, Standing.start(advice.task)
    node = Gate.of(setup, task).kept(advice.plan.policy, start)
    if node == advice.plan.policy:
        return advice
    price = evaluate(task, node)
    found = replace(advice.plan, policy=node, expected_price=price, exact=False,
                    upper=max(advice.plan.upper, price))  # fmt: skip
    return replace(advice, plan=found)


def cut_with_gate(setup: Setup, task: Task, cut: Node) -> Node:
    """A cut plan; where its branches were joined past the gate it sends its reader back."""
    gate = Gate.of(setup, task)
    return gate.kept(cut, Standing.start(task), come_back=True) if gate.waits else cut


@dataclass(frozen=True)
class Gate:
    """What stands before live tests in a task; per outcome of each the tests that it holds."""

    task: Task
    waits: Mapping[str, frozenset[str]]
    holds: Mapping[str, Mapping[str, frozenset[str]]]
    _allowed: dict[tuple[int, tuple[tuple[str, str], ...]], tuple[Node, bool]] = field(
        default_factory=dict, compare=False, repr=False
    )

    @classmethod
    def of(cls, setup: Setup, task: Task) -> Gate:
        """The proofs and looks that are still to come in this task."""
        tests = {t.id: t for t in setup.machine.tests}
        left = {t.id for t in task.tests}
        every = barriers(setup.machine, setup.bench.table)
        found = {id: barrier for id, barrier in every.items() if id in left}
        holds = {id: _holds(setup.bench, tests[id], barrier) for id, barrier in found.items()}
        return cls(task, {id: b.waits for id, b in found.items()}, holds)

    def barred(self, passed: Mapping[str, Collection[str]]) -> frozenset[str]:
        """Tests not to be taken where these tests were read with one of these outcomes each."""
        shut = [w for id, w in self.waits.items() if id not in passed]
        for id, labels in passed.items():
            shut += [self.holds.get(id, {}).get(label, NOTHING) for label in labels]
        return NOTHING.union(*shut)

    def allows(self, node: Node, passed: Mapping[str, str]) -> bool:
        """Whether this step and all behind it may follow where these tests had these outcomes."""
        now = tuple(sorted((id, label) for id, label in passed.items() if id in self.waits))
        key = (id(node), now)
        if key not in self._allowed:
            self._allowed[key] = (node, self._allows(node, passed))
        return self._allowed[key][1]

    def _allows(self, node: Node, passed: Mapping[str, str]) -> bool:
        if node.kind != "test":
            return True
        if node.id in self.barred({id: (label,) for id, label in passed.items()}):
            return False
        return all(self._allows(kid, {**passed, node.id: label}) for label, kid in node.then)

    def kept(
        self, node: Node, at: Standing, used: frozenset[str] = frozenset(),
        shut: frozenset[str] = frozenset(), come_back: bool = False,
    ) -> Node:  # fmt: skip
        """The node with what follows from it; ``used`` tests were read, ``shut`` are not to be.
        ``come_back``: what would have to be planned anew is left to the planner."""
        if node.kind != "test":
            return node
        names = next(t for t in self.task.tests if t.id == node.id).outcomes
        after = dict(zip(names, after_test(self.task, at, node.id)[1], strict=True))
        used, then = used | {node.id}, []
        for label, kid in node.then:
            held = shut | self.holds.get(node.id, {}).get(label, NOTHING)
            if held and not held.isdisjoint(_tests_in(kid)):
                kid = self.anew(after[label], used, held)
                kid = Node(COME_BACK, then=(("", kid),)) if come_back else kid
            then.append((label, self.kept(kid, after[label], used, held, come_back)))
        return replace(node, then=tuple(then))

    def anew(self, at: Standing, used: frozenset[str], shut: frozenset[str]) -> Node:
        """The plan from here on without the tests that are shut, and what waits for them."""
        task = self.task
        out = set(shut)
        while more := {t.id for t in task.tests if not out.isdisjoint(t.after)} - out:
            out |= more
        mass = at.mass / at.mass.sum()
        faults = tuple(replace(f, weight=float(w)) for f, w in zip(task.faults, mass, strict=True))
        rest = replace(
            task, faults=faults, tests=tuple(t for t in task.tests if t.id not in out),
            opened=frozenset(c.id for i, c in enumerate(task.covers) if at.open >> i & 1),
            used=task.used | (used - out), excluded0=at.excluded,
        )  # fmt: skip
        return plan(rest, deadline=None, max_expansions=LOOKS).policy


def _tests_in(node: Node) -> frozenset[str]:
    if node.kind == COME_BACK:
        return frozenset()
    own = frozenset({node.id} if node.kind == "test" else ())
    return own.union(*(_tests_in(kid) for _, kid in node.then))
