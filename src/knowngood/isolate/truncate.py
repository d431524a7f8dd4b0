"""A plan short enough for a printed card, with what the shortness costs."""

from __future__ import annotations

import dataclasses
import heapq
from collections import Counter

from knowngood.isolate.planner import Plan
from knowngood.isolate.policy import (
    CURED,
    NOT_CURED,
    Node,
    Standing,
    after_part,
    after_test,
    evaluate,
    price_from,
    stop_price,
)
from knowngood.isolate.task import Task


class _Branch:
    """A node of the plan: what it costs as planned and cut here, and whether it is kept."""

    __slots__ = ("at", "cut", "kept", "kids", "leaf", "node", "planned", "task")

    def __init__(self, task: Task, node: Node, at: Standing) -> None:
        self.task, self.node, self.at = task, node, at
        self.kids: list[tuple[str, _Branch]] = []
        self.kept = False
        self.leaf: Node = node
        self.cut = -1.0
        if not node.then:
            self.planned = price_from(task, node, at)
            return
        then = dict(node.then)
        if node.kind == "test":
            outcomes = next(t for t in task.tests if t.id == node.id).outcomes
            price, after = after_test(task, at, node.id)
            pairs = zip(outcomes, after, strict=True)
            self.kids = [(o, _Branch(task, then[o], a)) for o, a in pairs if o in then]
        else:
            price, rest = after_part(task, at, node.id)
            names = [o for o in (CURED, NOT_CURED) if o in then]
            nothing = Standing(rest.mass * 0.0, rest.open, rest.fitted, rest.excluded)
            ends = {CURED: nothing, NOT_CURED: rest}
            self.kids = [(o, _Branch(task, then[o], ends[o])) for o in names]
        self.planned = price * float(at.mass.sum()) + sum(k.planned for _, k in self.kids)

    @property
    def loss(self) -> float:
        """What cutting here costs; looks for the best end when first asked."""
        if self.cut < 0:
            self.cut = self.planned
            if self.kids:
                self.leaf, self.cut = _leaf(self.task, self.at)
        return self.cut - self.planned

    @property
    def end(self) -> Node:
        """How it ends when it is cut here."""
        return self.leaf if self.loss >= 0 or self.kids else self.node

    def tree(self) -> tuple[Node, float]:
        """The shorter plan from here, and its price times the mass."""
        if not self.kept:
            return self.leaf, self.cut
        found = [(outcome, kid, kid.tree()) for outcome, kid in self.kids]
        price = self.planned + sum(got[1] - kid.planned for _, kid, got in found)
        if self.cut <= price:
            return self.leaf, self.cut
        kids = tuple((outcome, got[0]) for outcome, _, got in found)
        return Node(self.node.kind, self.node.id, self.node.parts, kids), price


def truncate(plan: Plan, nodes: int = 127) -> Plan:
    """The plan with at most ``nodes`` steps; where it is cut, it stops, gives up or fits on.

    Steps are kept by what leaving them out would cost. Outcomes of one test that end alike are
    one line on a card ("below 46 V or OL: order the pack") and count once (`lines`). A plan that
    must tell every fault apart (goal ``part`` without ``wrong_price``) cannot be cut and stays
    whole.
    """
    task = plan.task
    if lines(plan.policy) <= nodes or (task.goal == "part" and task.wrong_price is None):
        return plan
    root = _Branch(task, plan.policy, Standing.start(task))
    left, count = nodes - 1, 0
    alone: Counter[Node] = Counter()
    heap = [(-root.loss, count, root, alone)]
    while heap:
        _, _, b, siblings = heapq.heappop(heap)
        if not b.kids:
            continue
        ends = Counter(kid.end for _, kid in b.kids)
        cost = len(ends) + (siblings[b.end] > 1)  # leaving a shared line takes one of its own
        if cost > left:
            continue
        b.kept = True
        left -= cost
        siblings[b.end] -= 1
        for _, kid in b.kids:
            count += 1
            heapq.heappush(heap, (-kid.loss, count, kid, ends))
    node, _ = root.tree()
    price = evaluate(task, node)
    exact = plan.exact and price <= plan.expected_price * (1 + 1e-9)
    return dataclasses.replace(
        plan, policy=node, expected_price=price, exact=exact, upper=min(plan.upper, price)
    )


def lines(node: Node) -> int:
    """Steps of a plan as it is printed: outcomes of one test that end alike count once."""
    ends = {child for _, child in node.then if not child.then}
    return 1 + len(ends) + sum(lines(child) for _, child in node.then if child.then)


def _leaf(task: Task, at: Standing) -> tuple[Node, float]:
    """The best way to end without another test, and its price times the mass."""
    total = float(at.mass.sum())
    if total <= 0:
        return Node("stop"), 0.0
    if task.goal == "part":
        best = min(task.cure_sets, key=lambda s: stop_price(task, at, s))
        return Node("stop", parts=best), stop_price(task, at, best)
    order: list[str] = []
    spent = 0.0
    options = [] if task.give_up is None else [(task.give_up * total, 0)]
    while float(at.mass.sum()) > 1e-15 * total:
        pick = _next_set(task, at)
        if not pick:
            break
        for part in pick:
            mass = float(at.mass.sum())
            price, at = after_part(task, at, part)
            spent += price * mass
            order.append(part)
        rest = 0.0 if task.give_up is None else task.give_up * float(at.mass.sum())
        options.append((spent + rest, len(order)))
    if task.give_up is None:
        options = options[-1:]
    price, k = min(options)
    return (Node("fit_order", parts=tuple(order[:k])) if k else Node("give_up")), price


def _next_set(task: Task, at: Standing) -> list[str]:
    """The missing parts of the cure set with the most chance for its price."""
    best, pick = -1.0, []
    for k, parts in enumerate(task.cure_sets):
        mass = float(at.mass[task.set_of == k].sum())
        missing = [p for p in parts if p not in at.fitted]
        if mass <= 0 or not missing:
            continue
        price, now = 0.0, at
        for p in missing:
            more, now = after_part(task, now, p)
            price += more
        ratio = mass / (price + 1e-9)
        if ratio > best:
            best, pick = ratio, missing
    return pick
