"""A short plan for paper, or for a phone without network: a tree of few lines.

Every line of a card has a price, and the plan is worked through again from its leaves up: a
branch ends where going on is not worth its lines, and outcomes of one test share what comes next
where telling them apart is not. The price of a line is then set so that the card has the length
asked for. Where a card ends, it stops, gives up, fits on, or sends its reader back to the planner.
"""

from __future__ import annotations

import dataclasses
import math

from knowngood.isolate.group import Follow
from knowngood.isolate.planner import Plan
from knowngood.isolate.policy import Node, evaluate
from knowngood.isolate.prune import Cut, lines

ROUNDS = 16

__all__ = ["lines", "truncate"]


def truncate(plan: Plan, nodes: int = 127, come_back: float | None = None) -> Plan:
    """The plan with at most ``nodes`` lines; where it is cut, it stops, gives up or fits on.

    ``come_back``: what it costs, each time, to leave the card and take the plan up again where
    it stands (None: that cannot be). Outcomes of one test that go on alike are one line on a card
    ("below 46 V or OL: order the pack") and count once, and so does "not on this card: come back"
    for all of it (`lines`). Without coming back, a plan that must tell every fault apart (goal
    ``part`` without ``wrong_price``) cannot be cut and stays whole.
    """
    task = plan.task
    certain = task.goal == "part" and task.wrong_price is None
    if lines(plan.policy) <= nodes or (certain and come_back is None):
        return plan
    back = math.inf if come_back is None else come_back
    cut = Cut(Follow(task, back), plan.policy)
    node = _fit(cut, nodes)
    price = evaluate(task, node, 0.0 if come_back is None else come_back)
    exact = plan.exact and price <= plan.expected_price * (1 + 1e-9)
    return dataclasses.replace(
        plan, policy=node, expected_price=price, exact=exact, upper=min(plan.upper, price)
    )


def _fit(cut: Cut, most: int) -> Node:
    """The best card found of at most ``most`` lines."""
    best, least, _ = cut.best(math.inf)
    low, high, line = 0.0, math.inf, cut.root.own / most / 50 + 1e-12
    for _ in range(ROUNDS):
        card, price, count = cut.best(line)
        more = 0.0
        if count <= 2 * most:
            card, more = cut.merged(card, line)
            count = lines(card)
        if count <= most:
            high = line
            if price + more < least:
                best, least = card, price + more
            if count > 0.95 * most:
                break
        else:
            low = line
        if low > 0.95 * high:
            break
        step = (count / (0.98 * most)) ** 1.4  # about as the count falls with the price of a line
        bracketed = low > 0.0 and high < math.inf
        line *= step if bracketed else max(step, 2.5) if count > most else min(step, 0.4)
        if bracketed and not low < line < high:
            line = (low * high) ** 0.5
    return best
