"""A page with its tails: each end, on all ways that lead to it, followed by the few tests that are
worth more there than naming a part at once (`tails`)."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from knowngood.isolate.group import Follow
from knowngood.isolate.policy import Node
from knowngood.isolate.shared import steps_of
from knowngood.isolate.tails import WORTH_PRINTING, Tail, Tails, Way

LEAST_ELSEWHERE = 0.3
"""A test that the page takes nowhere must save so much of the money of a whole job, on all ends
together: how it is taken needs lines of its own."""

Place = tuple[Node, str]
"""A step of the page and an outcome of it."""


@dataclass(frozen=True, slots=True)
class Tailed:
    """``page`` as it was, the ``tails`` of its ends, and its expected price with them."""

    page: Node
    tails: Mapping[Place, Tail]
    price: float

    def followed(self, follow: Follow) -> Node:
        """Page and tails as one policy."""
        tests = {t.id: t for t in follow.task.tests}
        made: dict[Node, Node] = {}

        def down(node: Node) -> Node:
            if not node.then:
                return node
            if node not in made:
                then = []
                for label, kid in node.then:
                    tail = self.tails.get((node, label))
                    then.append((label, tail.node(tests) if tail else down(kid)))
                made[node] = replace(node, then=tuple(then))
            return made[node]

        return down(self.page)


def with_tails(
    tails: Tails, page: Node, price: float, *,
    most: int = 0, sealed: Collection[tuple[str, str]] = (),
) -> Tailed:  # fmt: skip
    """The page (of that price) with tails of its own tests and of the ``most`` others that save
    most. ``sealed``: (test, outcome) after which the page tells something else."""
    follow = tails.follow
    ends = [end for end in _ends(follow, page, sealed) if end.stop > WORTH_PRINTING]
    named = frozenset(_ids(page))
    found = [tails.of(end.ways) if most else tails.of(end.ways, named) for end in ends]
    if most:
        more: dict[str, float] = {}
        for k, end in enumerate(ends):
            off = {ask.test for ask in found[k].asks} - named
            if off:
                saves = tails.of(end.ways, named).price - found[k].price
                more |= {id: more.get(id, 0.0) + saves / len(off) for id in off}
        order = sorted(more, key=lambda id: (-more[id], id))[:most]
        named |= {id for id in order if more[id] >= LEAST_ELSEWHERE}
        found = [tail if {a.test for a in tail.asks} <= named else tails.of(end.ways, named)
                 for end, tail in zip(ends, found, strict=True)]  # fmt: skip
    told: dict[Place, Tail] = {}
    for end, tail in zip(ends, found, strict=True):
        if tail.asks and tail.price < end.stop:
            told |= {(end.step, label): tail for label in end.labels}
            price += tail.price - end.stop
    return Tailed(page, told, price)


@dataclass(frozen=True, slots=True)
class _End:
    """Outcomes of a step that end alike, all ways there, and what the end named costs."""

    step: Node
    labels: tuple[str, ...]
    ways: list[Way]
    stop: float


def _ends(follow: Follow, page: Node, sealed: Collection[tuple[str, str]]) -> Iterator[_End]:
    for node, step in steps_of(follow, page).items():
        after = [(follow.after(node, at)[1], passed) for at, passed in step.ways]
        for labels, kid in _together(node):
            if kid.kind != "stop" or any((node.id, label) in sealed for label in labels):
                continue
            ways: list[Way] = [
                (groups[label], {**{id: (o,) for id, o in passed.items()}, node.id: (label,)})
                for groups, passed in after for label in labels if label in groups
            ]  # fmt: skip
            if ways:
                yield _End(node, labels, ways, sum(follow.price(kid, at) for at, _ in ways))


def _together(node: Node) -> Iterator[tuple[tuple[str, ...], Node]]:
    """Neighbouring bands that end alike, as one."""
    last: tuple[tuple[str, ...], Node] | None = None
    for label, kid in node.then:
        bands = last is not None and last[0][-1].startswith("band") and label.startswith("band")
        if last is not None and bands and last[1] == kid:
            last = ((*last[0], label), kid)
            continue
        if last is not None:
            yield last
        last = ((label,), kid)
    if last is not None:
        yield last


def _ids(node: Node) -> Iterator[str]:
    if node.then:
        yield node.id
        for _, kid in node.then:
            yield from _ids(kid)
