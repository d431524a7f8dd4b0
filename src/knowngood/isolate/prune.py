"""What a plan costs when branches of it are cut off, each line of the card having its price.

The plan is followed once; then, for any price of a line, the cheapest way to cut it is found from
the leaves up. Neighbouring outcomes that stop alike are one line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from knowngood.isolate.group import Follow, Group
from knowngood.isolate.policy import COME_BACK, Node
from knowngood.isolate.task import Floats

Found = tuple[Node, float, int]


@dataclass(slots=True)
class Spot:
    """A step of the plan as it is reached: all prices times the ``mass`` reaching it.

    ``ends`` (k,): the price of each way to end here, ``end`` the best of them; ``cost``: the
    step itself; ``own``: following the plan from here to its end.
    """

    node: Node
    mass: float
    ends: Floats
    end: float
    leaf: Node
    cost: float
    own: float
    then: tuple[tuple[str, Spot], ...]


class Cut:
    """Cards cut out of one plan."""

    def __init__(self, follow: Follow, policy: Node) -> None:
        self.follow = follow
        self.sets = [Node("stop", parts=s) for s in follow.task.cure_sets]
        self.part = follow.task.goal == "part"
        self.root = self._spot(policy, follow.start())

    def _spot(self, node: Node, at: Group) -> Spot:
        f, mass = self.follow, at.total
        if mass <= 0:
            return Spot(node, 0.0, np.zeros(len(self.sets)), 0.0, node, 0.0, 0.0, ())
        ends = f.stops(at).sum(0) if self.part else np.zeros(0)
        if self.part:
            k = int(ends.argmin())
            leaf, end = self.sets[k], float(ends[k])
        else:
            leaf, end = f.end(at)
        if not node.then:
            own = f.price(node, at)
            if own < end and not self.part:
                leaf, end = node, own
            return Spot(node, mass, ends, end, leaf, 0.0, min(own, end), ())
        price, after = f.after(node, at)
        then = tuple((o, self._spot(kid, after[o])) for o, kid in node.then if o in after)
        cost = price * mass
        own = cost + sum(kid.own for _, kid in then)
        return Spot(node, mass, ends, end, leaf, cost, own, then)

    def best(self, line: float) -> Found:
        """The cheapest card where a line costs ``line``."""
        return self._best(self.root, line)

    def merged(self, card: Node, line: float) -> tuple[Node, float]:
        """(the card, what it then costs more) once outcomes that begin alike share what comes
        next, where telling them apart is not worth its lines."""
        return self._merged(card, self.follow.start(), line)

    def _merged(self, card: Node, at: Group, line: float) -> tuple[Node, float]:
        if card.kind not in ("test", "part"):
            return card, 0.0
        f, then, more = self.follow, dict(card.then), 0.0
        _, after = f.after(card, at)
        for o, kid in card.then:
            then[o], extra = self._merged(kid, after[o], line)
            more += extra
        heads: list[Node] = []
        names = sorted(then, key=lambda o: -after[o].total)
        for o in names:
            kid = then[o]
            if kid.kind != "test":
                continue
            for head in heads:
                if head.id == kid.id and head != kid:
                    extra = f.price(head, after[o]) - f.price(kid, after[o])
                    if extra < line * _lines(kid):
                        then[o], more = head, more + extra
                        break
            else:
                heads.append(kid)
        return Node(card.kind, card.id, card.parts, tuple(then.items())), more

    def _leaf(self, spot: Spot, line: float) -> Found:
        later = self._back(spot)
        if later < spot.end + line:  # what is not on the card needs no line
            return Node(COME_BACK, then=(("", spot.node),)), later, 0
        return spot.leaf, spot.end, 1

    def _best(self, spot: Spot, line: float) -> Found:
        leaf, end, one = self._leaf(spot, line)
        if not spot.then or end - spot.own <= line:
            return leaf, end, one
        kids = [(o, kid, self._best(kid, line)) for o, kid in spot.then]
        chosen = self._together(kids, line)
        count = 1 + sum(n for _, (node, _, n) in chosen if node.then)
        count += len({node for _, (node, _, n) in chosen if not node.then})
        price = spot.cost + sum(p for _, (_, p, _) in chosen)
        if price + line * count >= end + line * one:
            return leaf, end, one
        then = tuple((o, node) for o, (node, _, _) in chosen)
        return Node(spot.node.kind, spot.node.id, spot.node.parts, then), price, count

    def _together(
        self, kids: list[tuple[str, Spot, Found]], line: float
    ) -> list[tuple[str, Found]]:
        """Outcomes cut off end alike where telling them apart is not worth a line."""
        chosen = {o: got for o, _, got in kids}
        if self.part and len(kids) > 1:
            ends = [
                (o, kid, self._back(kid))
                for o, kid, (node, _, _) in kids
                if node.kind in ("stop", COME_BACK) and kid.mass > 0
            ]
            if len(ends) > 1:
                back = np.array([b for _, _, b in ends])
                table = np.array([kid.ends for _, kid, _ in ends])
                use = sorted({int(row.argmin()) for row in table})

                def price(some: list[int]) -> float:
                    least = np.minimum(table[:, some].min(1, initial=np.inf), back)
                    return float(least.sum()) + line * len(some)

                now = price(use)
                while use:
                    less, drop = min((price([u for u in use if u != c]), c) for c in use)
                    if less > now:
                        break
                    now = less
                    use.remove(drop)
                for (o, kid, b), row in zip(ends, table, strict=True):
                    k = min(use, key=lambda u: row[u], default=-1)
                    if k >= 0 and row[k] <= b:
                        chosen[o] = (self.sets[k], float(row[k]), 1)
                    else:
                        chosen[o] = (Node(COME_BACK, then=(("", kid.node),)), b, 0)
        return [(o, chosen[o]) for o, _, _ in kids]

    def _back(self, spot: Spot) -> float:
        return spot.own + self.follow.come_back * spot.mass


def lines(card: Node) -> int:
    """Steps of a plan as it is printed: outcomes of one test that go on alike count once, and
    "what is not here: come back" once for the whole card."""
    return _lines(card) + _comes_back(card)


def _lines(node: Node) -> int:
    if node.kind == COME_BACK:
        return 0
    return 1 + sum(_lines(child) for child in {child for _, child in node.then})


def _comes_back(node: Node) -> bool:
    return node.kind == COME_BACK or any(_comes_back(child) for _, child in node.then)
