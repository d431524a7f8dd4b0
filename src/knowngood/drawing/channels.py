"""The space between two columns: each node has one upright there, beside the others.

A node's pins on the left and right of the channel are joined by level wires to its upright. Where
one node comes from the left on the very row where another leaves to the right, the first must stand
further left; everything else is chosen for few crossings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

FOOT = 1e6
"""The row of the return's rail, below all others."""


@dataclass(frozen=True, slots=True)
class Upright:
    """A node in one channel: rows of its pins on either side. `point`: its number stands here."""

    node: str
    left: tuple[int, ...]
    right: tuple[int, ...]
    ground: bool = False
    point: bool = False

    @property
    def rows(self) -> tuple[int, ...]:
        return tuple(sorted({*self.left, *self.right}))

    @property
    def level(self) -> bool:
        """One level wire is all it takes."""
        return not self.ground and not self.point and len(self.rows) == 1

    @property
    def top(self) -> float:
        return self.rows[0]

    @property
    def foot(self) -> float:
        return FOOT if self.ground else self.rows[-1]


@dataclass(frozen=True, slots=True)
class Ring:
    """Nodes of which each must stand left of the next and the last left of the first: `row` is
    where `left` (a node) meets `right`."""

    row: int
    left: str
    right: str


def side_by_side(uprights: Sequence[Upright]) -> list[Upright] | Ring:
    """From left to right, or what makes it impossible."""
    waits: dict[int, set[int]] = {k: set() for k in range(len(uprights))}
    met: dict[tuple[int, int], int] = {}
    for a, one in enumerate(uprights):
        for b, other in enumerate(uprights):
            shared = set(one.left) & set(other.right)
            if a != b and shared:
                waits[b].add(a)
                met[a, b] = min(shared)
    order: list[int] = []
    while len(order) < len(uprights):
        ready = [k for k in waits if k not in order and waits[k] <= set(order)]
        if not ready:
            a, b = _in_ring(waits, set(order))
            return Ring(met[a, b], uprights[a].node, uprights[b].node)
        order.append(min(ready, key=lambda k: (_lean(uprights[k]), k)))
    return [uprights[k] for k in _improved(order, waits, uprights)]


def _lean(one: Upright) -> float:
    """Left for what has pins on the left alone."""
    return len(one.right) - len(one.left)


def _in_ring(waits: dict[int, set[int]], done: set[int]) -> tuple[int, int]:
    here = min(k for k in waits if k not in done)
    seen: list[int] = []
    while here not in seen:
        seen.append(here)
        here = min(waits[here] - done)
    ring = seen[seen.index(here) :]
    return ring[1] if len(ring) > 1 else ring[0], ring[0]


def _improved(
    order: list[int], waits: dict[int, set[int]], uprights: Sequence[Upright]
) -> list[int]:
    better = True
    while better:
        better = False
        for i in range(len(order) - 1):
            a, b = order[i], order[i + 1]
            if a in waits[b]:
                continue
            if _pair(uprights[b], uprights[a]) < _pair(uprights[a], uprights[b]):
                order[i], order[i + 1] = b, a
                better = True
    return order


def _pair(first: Upright, second: Upright) -> int:
    """Crossings with `first` on the left."""
    cuts = sum(first.top < row < first.foot for row in second.left)
    return cuts + sum(second.top < row < second.foot for row in first.right)


def crossed(order: Sequence[Upright]) -> int:
    """All crossings of a channel."""
    return sum(_pair(a, b) for k, a in enumerate(order) for b in order[k + 1 :])
