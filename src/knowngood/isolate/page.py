"""A plan cut down to what one printed page holds, for a bench where no computer is asked again.

As with a longer card (`truncate`) every line has a price, and the plan is worked through again
from its leaves up; but no branch ends with "ask again": where it is cut it names the parts that
cost least to name there, and counts what a few tests told in a row there save (`tails`). Dearer and
dearer lines give shorter and shorter pages.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from knowngood.isolate.group import Follow, Group
from knowngood.isolate.planner import Plan
from knowngood.isolate.policy import Node
from knowngood.isolate.tails import WORTH_PRINTING, Barred, Passed, Tails

STEP, WAY, END, OPEN_END, ASKED, DETAIL = 1.6, 0.3, 0.5, 1.0, 0.4, 3.0
"""Printed lines of a step, of a way to another step, of an end that is sure and of one that is not,
of each test it tells to take; and of the words of each different test, once for the whole page."""
SURE = 0.2  # an end is sure where it costs no more than this share of a wrong part
FINEST, PAGES, MOST_STEPS = 0.02, 40, 150
USUAL = 95.0
"""Printed lines that a page with the words of its tests usually holds."""


def pages(plan: Plan, barred: Barred | None = None) -> list[tuple[Node, float]]:
    """(page, its expected price without tails), the longest first; with its tails each is shorter
    and dearer than the one before. ``barred``: the tests that no tail may take; None: no tails.

    Goal ``part`` with a ``wrong_price`` only, for else no branch may end early (ValueError)."""
    task = plan.task
    if task.goal != "part" or task.wrong_price is None:
        raise ValueError("only a plan that names a part at a price for the wrong one fits a page")
    follow = Follow(task)
    found = _pages(plan, _Cut(follow, Tails(follow), frozenset()))
    if barred is not None:  # tails of tests that a page takes: others need words of their own
        usual = min(found, key=lambda one: abs(page_lines(one[0]) - USUAL))[0]
        named = frozenset(step.id for step in _steps(usual))
        found = _pages(plan, _Cut(follow, Tails(follow, barred), named))
    start = follow.start()
    return [(node, follow.price(node, start)) for node, _ in found]


def _pages(plan: Plan, made: _Cut) -> list[tuple[Node, float]]:
    root = made.spot(plan.policy, made.follow.start(), {})
    dearest = max(root.end - root.own, 1.0)
    lines = [FINEST * (dearest / FINEST) ** (k / (PAGES - 1)) for k in range(PAGES)]
    found = [made.best(root, line)[:2] for line in lines]
    found += [made.best(root, FINEST, shown)[:2] for shown in _growing(root)]
    sized = sorted({(page_lines(node), price): node for node, price in found}.items(),
                   key=lambda one: one[0])  # fmt: skip
    kept: list[tuple[Node, float]] = []
    for (_, price), node in sized:
        if not kept or price < kept[-1][1] - 1e-9:
            kept.append((node, price))
    return kept[::-1]


def _growing(root: _Spot) -> Iterator[frozenset[int]]:
    """More and more steps (by identity), where ending would cost most first: trees between those
    that are cheapest for a price of a line."""
    shown: set[int] = set()
    waiting = [(root.own - root.end, 0, root)]
    tick = 0
    while waiting and len(shown) < MOST_STEPS:
        _, _, spot = heapq.heappop(waiting)
        shown.add(id(spot))
        yield frozenset(shown)
        for _, kid in spot.then:
            if kid.then and kid.end - kid.own > FINEST:
                tick += 1
                heapq.heappush(waiting, (kid.own - kid.end, tick, kid))


def page_lines(node: Node) -> float:
    """About how many printed lines a page takes; steps that go on alike are printed once."""
    steps, tests = dict.fromkeys(_steps(node)), {one.id for one in _steps(node)}
    ways = sum(len({kid for _, kid in one.then}) for one in steps)
    return STEP * len(steps) + END * ways + DETAIL * len(tests)


def _steps(node: Node) -> Iterator[Node]:
    if node.then:
        yield node
        for _, kid in node.then:
            yield from _steps(kid)


@dataclass(frozen=True, slots=True)
class _Spot:
    """A step of the plan as it is reached, prices times the mass; ``own``: the plan followed to
    its end, ``end``: the best way to end here, with ``leaf`` or a tail, in so many ``lines``."""

    node: Node
    leaf: Node
    end: float
    lines: float
    cost: float
    own: float
    then: tuple[tuple[str, _Spot], ...]


class _Cut:
    """``only``: the tests that tails may take."""

    def __init__(self, follow: Follow, tails: Tails, only: Collection[str]) -> None:
        self.follow, self.tails, self.only = follow, tails, only
        self.sets = [Node("stop", parts=s) for s in follow.task.cure_sets]

    def spot(self, node: Node, at: Group, passed: Passed) -> _Spot:
        prices, total = self.follow.stops(at).sum(0), at.total
        k = int(prices.argmin())
        leaf, end = self.sets[k], float(prices[k])
        sure = end <= SURE * (self.follow.task.wrong_price or 0.0) * total
        lines = END if sure else OPEN_END
        if not node.then:
            own = min(end, self.follow.price(node, at))
            return _Spot(node, leaf, end, lines, 0.0, own, ())
        price, after = self.follow.after(node, at)
        then = tuple(
            (o, self.spot(kid, after[o], {**passed, node.id: (o,)}))
            for o, kid in node.then if o in after
        )  # fmt: skip
        own = price * total + sum(kid.own for _, kid in then)
        if self.only and not sure and end - own > WORTH_PRINTING:
            tail = self.tails.of([(at, passed)], self.only)
            end, lines = tail.price, lines + ASKED * len(tail.asks)
        return _Spot(node, leaf, end, lines, price * total, own, then)

    def best(
        self, spot: _Spot, line: float, shown: frozenset[int] | None = None
    ) -> tuple[Node, float, float]:
        """(page, its price, its lines) where a line costs ``line``; of these steps only."""
        ending = spot.lines
        found = (spot.leaf, spot.end, ending)
        if not spot.then or spot.end - spot.own <= line or (shown and id(spot) not in shown):
            return found
        kids = [(o, *self.best(kid, line, shown)) for o, kid in spot.then]
        below: dict[Node, float] = {}
        for _, node, _, count in kids:
            below[node] = max(count, below.get(node, 0.0))
        lines = STEP + DETAIL / 2 + WAY * len(below) + sum(below.values())
        price = spot.cost + sum(p for _, _, p, _ in kids)
        if price + line * lines >= spot.end + line * ending:
            return found
        then = tuple((o, node) for o, node, _, _ in kids)
        return Node(spot.node.kind, spot.node.id, spot.node.parts, then), price, lines
