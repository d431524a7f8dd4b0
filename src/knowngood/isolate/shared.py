"""Ends of a page that go on at a step the page has already, where that is cheaper than ending.

A page cut to its lines ends many branches without proof. Often another branch has, further down,
the very steps that would tell there too: to send the reader to them takes no line. Steps are kept
in one order and only later ones are gone on at, so nobody comes to a step twice; no test is taken
twice on any way; what such a way costs is the exact price of following it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from knowngood.isolate.group import Follow, Group
from knowngood.isolate.policy import Node, size

Passed = Mapping[str, str]
"""Test -> the outcome it had on the way here."""
Allowed = Callable[[Node, Passed], bool]
LEAST = 1e-4
"""What a further way must save, in money of a whole job."""
MOST_SIZE = 4000
"""Places of the page written out as a tree, each as often as ways lead there."""


@dataclass(slots=True)
class Step:
    """A step of the page with all ways that lead to it; ``ids``: tests in it or behind it,
    ``size``: of its tree."""

    node: Node
    ways: list[tuple[Group, dict[str, str]]] = field(default_factory=list)
    ids: frozenset[str] = frozenset()
    size: int = 0


def share(
    follow: Follow, page: Node, allowed: Allowed, needed: Collection[str] = ()
) -> tuple[Node, float]:
    """(the page with such ends sent on, its expected price). ``allowed``: may this step be gone on
    at, with these tests read? (`Gate.allows`) A step after which all goes on alike is left out,
    unless it is ``needed`` or another test waits for it."""
    stay = frozenset(needed).union(*(t.after for t in follow.task.tests))
    steps = steps_of(follow, page)
    later: list[Step] = []
    made: dict[Node, Node] = {}
    waiting = {t.id: frozenset(t.after) for t in follow.task.tests}
    grown = size(page)
    for step in reversed(steps.values()):
        then = []
        for label, kid in step.node.then:
            if kid.then:
                then.append((label, made[kid]))
                continue
            found, count = kid, 0
            here = ((follow.after(step.node, at)[1], passed) for at, passed in step.ways)
            ends = [(after[label], {**passed, step.node.id: label})
                    for after, passed in here if label in after]  # fmt: skip
            least = sum(float(follow.prices(kid, at).sum()) for at, _ in ends) - LEAST
            if ends and least > 0:
                read = frozenset().union(*(passed for _, passed in ends))
                for one in later:
                    if not one.ids.isdisjoint(read) or grown + one.size > MOST_SIZE:
                        continue
                    if _first(follow, one.node, ends) >= least:
                        continue
                    if not all(_in_turn(one.node, frozenset(p) | follow.task.used, waiting)
                               and allowed(one.node, p) for _, p in ends):  # fmt: skip
                        continue
                    price = _price(follow, one.node, ends, least)
                    if price < least:
                        found, least, count = one.node, price, one.size
            grown += count * len(ends)
            then.append((label, found))
        node = Node(step.node.kind, step.node.id, step.node.parts, tuple(then))
        if len({id(kid) for _, kid in then}) == 1 and then[0][1].then and node.id not in stay:
            made[step.node] = then[0][1]
            continue
        made[step.node] = node
        later.append(Step(node, ids=_ids(node), size=size(node)))
    root = made.get(page, page)
    return root, follow.price(root, follow.start())


def _first(follow: Follow, node: Node, ends: list[tuple[Group, dict[str, str]]]) -> float:
    """What the step itself costs from all these ends: its way on costs no less."""
    step = node.id if node.kind == "test" else "+" + node.id
    return sum(follow.reach(step, at.open)[0] * at.total for at, _ in ends)


def _price(
    follow: Follow, node: Node, ends: list[tuple[Group, dict[str, str]]], most: float
) -> float:
    """Of following the step from all these ends, or ``most`` and more."""
    spent = 0.0
    for at, _ in ends:
        spent += follow.price(node, at)
        if spent >= most:
            break
    return spent


def steps_of(follow: Follow, page: Node) -> dict[Node, Step]:
    """Each different step once, nearest first, with all ways there."""
    found: dict[Node, Step] = {}
    level: list[tuple[Node, Group, dict[str, str]]] = [(page, follow.start(), {})]
    while level:
        below = []
        for node, at, passed in level:
            if not node.then:
                continue
            found.setdefault(node, Step(node)).ways.append((at, passed))
            _, after = follow.after(node, at)
            below += [(kid, after[label], {**passed, node.id: label})
                      for label, kid in node.then if label in after]  # fmt: skip
        level = below
    order = _deepest_last(page)
    return {node: found[node] for node in order if node in found}


def _deepest_last(page: Node) -> list[Node]:
    """Every step after all those that lead to it."""
    depth: dict[Node, int] = {}

    def down(node: Node, level: int) -> None:
        if node.then and depth.get(node, -1) < level:
            depth[node] = level
            for _, kid in node.then:
                down(kid, level + 1)

    down(page, 0)
    return sorted(depth, key=lambda node: depth[node])


def _ids(node: Node) -> frozenset[str]:
    if not node.then:
        return frozenset()
    return frozenset({node.id}).union(*(_ids(kid) for _, kid in node.then))


def _in_turn(node: Node, read: frozenset[str], waiting: Mapping[str, frozenset[str]]) -> bool:
    """No test of it comes before one that it waits for."""
    if not node.then:
        return True
    if not waiting.get(node.id, frozenset()) <= read:
        return False
    read |= {node.id}
    return all(_in_turn(kid, read, waiting) for _, kid in node.then)
