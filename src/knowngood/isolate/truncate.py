"""A plan short enough for a printed card, with what the shortness costs.

Each line is given a price, and the plan is worked through again from its leaves up: a branch ends
where going on is not worth its lines, and outcomes of one test share what comes next where telling
them apart is not. The price of a line is then set so that the card has the length asked for.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from knowngood.isolate.group import Follow, Group
from knowngood.isolate.planner import Plan
from knowngood.isolate.policy import Node, evaluate
from knowngood.isolate.task import Task

ROUNDS = 10
Found = tuple[Node, float, int]


def truncate(plan: Plan, nodes: int = 127) -> Plan:
    """The plan with at most ``nodes`` lines; where it is cut, it stops, gives up or fits on.

    Outcomes of one test that go on alike are one line on a card ("below 46 V or OL: order the
    pack") and count once (`lines`). A plan that must tell every fault apart (goal ``part``
    without ``wrong_price``) cannot be cut and stays whole.
    """
    task = plan.task
    if lines(plan.policy) <= nodes or (task.goal == "part" and task.wrong_price is None):
        return plan
    node = _shorten(task, plan.policy, nodes)
    price = evaluate(task, node)
    exact = plan.exact and price <= plan.expected_price * (1 + 1e-9)
    return dataclasses.replace(
        plan, policy=node, expected_price=price, exact=exact, upper=min(plan.upper, price)
    )


def lines(node: Node) -> int:
    """Steps of a plan as it is printed: outcomes of one test that go on alike count once."""
    return 1 + sum(lines(child) for child in {child for _, child in node.then})


def _shorten(task: Task, policy: Node, most: int) -> Node:
    """The best card found of at most ``most`` lines."""
    short = _Short(task)
    start = short.follow.start()
    best, best_price = short.follow.end(start)
    short.line = best_price / most
    low = 0.0
    for _ in range(ROUNDS):  # few lines first: they take little time
        node, price, count = short.best(policy, start)
        if count <= most:
            high = short.line
            if price < best_price:
                best, best_price = node, price
            if count > 0.96 * most:
                break
        else:
            low = short.line
        short.line = (low * high) ** 0.5 if low > 0 else high / 2
    return best


class _Short:
    """Cards where a line costs ``line``."""

    def __init__(self, task: Task) -> None:
        self.follow = Follow(task)
        self.line = 0.0

    def best(self, node: Node, at: Group) -> Found:
        """(card, price times the mass, lines) from here, cut out of ``node``."""
        f = self.follow
        leaf, end = f.end(at) if at.total > 0 else (Node("stop"), 0.0)
        if not node.then:
            own = f.price(node, at)
            return (node, own, 1) if own <= end else (leaf, end, 1)
        if end < 2 * self.line:
            return leaf, end, 1
        price, after = f.after(node, at)
        spent = price * at.total
        if spent + 2 * self.line >= end:
            return leaf, end, 1
        then = dict(node.then)
        names = [o for o in after if o in then]
        if node.kind == "test":
            kids, more, count = self._share(then, names, after)
        else:
            found = [(o, self.best(then[o], after[o])) for o in names]
            kids = tuple((o, got[0]) for o, got in found)
            more = sum(got[1] for _, got in found)
            count = sum(got[2] for _, got in found)
        if spent + more + self.line * count >= end:
            return leaf, end, 1
        return Node(node.kind, node.id, node.parts, kids), spent + more, 1 + count

    def _share(
        self, then: dict[str, Node], names: list[str], after: dict[str, Group]
    ) -> tuple[tuple[tuple[str, Node], ...], float, int]:
        """What comes next for each outcome, where several may share one card."""
        f = self.follow
        own = [self.best(then[o], after[o]) for o in names]
        cards: dict[Node, int] = {}
        source: dict[Node, str] = {}
        for o, (node, _, count) in zip(names, own, strict=True):
            for card, n in ((node, count), (f.end(after[o])[0], 1)):
                if card not in cards:
                    cards[card] = n
                    source[card] = o
        options = list(cards)
        every = [after[o] for o in names]
        rows = np.concatenate([g.mass for g in every])
        outs = np.concatenate([g.out for g in every])
        stack = Group(rows, outs, every[0].open, every[0].fitted)
        starts = np.cumsum([0, *(len(g.mass) for g in every[:-1])])
        by_card = [np.add.reduceat(f.prices(c, stack), starts) for c in options]
        price: list[list[float]] = np.array(by_card).T.tolist()
        use = set(range(len(options)))

        def cost(some: set[int]) -> float:
            return sum(min(row[c] for c in some) for row in price) + self.line * sum(
                cards[options[c]] for c in some
            )

        now = cost(use)
        while len(use) > 1:
            best, drop = min((cost(use - {c}), c) for c in use)
            if best > now:
                break
            now = best
            use.discard(drop)
        groups: dict[int, list[str]] = {}
        for o, row in zip(names, price, strict=True):
            groups.setdefault(min(use, key=lambda c: (row[c], c)), []).append(o)
        chosen: dict[str, Node] = {}
        spent, count = 0.0, 0
        for c, members in groups.items():
            card, n = options[c], cards[options[c]]
            total = sum(price[names.index(o)][c] for o in members)
            if len(members) > 1:
                joined = f.join([after[o] for o in members])
                node, p, k = self.best(then[source[card]], joined)
                if p + self.line * k < total + self.line * n:
                    card, total, n = node, p, k
            spent += total
            count += n
            chosen |= dict.fromkeys(members, card)
        return tuple((o, chosen[o]) for o in names), spent, count
