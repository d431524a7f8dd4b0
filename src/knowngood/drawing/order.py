"""The order of items in each column, with few crossings: barycentres, swept to and fro
(Sugiyama, Tagawa and Toda 1981), then swaps of neighbours."""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Sequence
from itertools import pairwise

from knowngood.drawing.items import Item

Columns = list[list[Item]]
Edge = tuple[float, float]
BOTTOM = 1e6
_SWEEPS = 12


def ordered(columns: Columns, ground: str) -> Columns:
    """The columns with their items in a better order, top first."""
    best, best_count = columns, crossings(columns, ground)
    now = [list(column) for column in columns]
    stale = 0
    for sweep in range(_SWEEPS):
        if best_count == 0 or stale == 4:
            break
        right = sweep % 2 == 0
        path = range(1, len(now)) if right else range(len(now) - 2, -1, -1)
        for k in path:
            now[k] = _by_barycentre(now, k, k - 1 if right else k + 1, ground)
        now = _swapped(now, ground)
        count = crossings(now, ground)
        stale += 1
        if count < best_count:
            stale = 0
            best, best_count = [list(column) for column in now], count
    return best


def ends(column: Sequence[Item], side: str) -> list[tuple[str, float]]:
    """(node, place) of each pin on that side; a place is the item's number and a part of one."""
    return [
        (pin.node, k + 0.9 * pin.row / (item.rows + 1))
        for k, item in enumerate(column)
        for pin in item.pins
        if pin.side == side
    ]


def _edges(left: Sequence[Item], right: Sequence[Item], ground: str) -> list[Edge]:
    by_node: dict[str, list[float]] = {}
    edges: list[Edge] = []
    for node, place in ends(right, "L"):
        if node == ground:
            edges.append((BOTTOM, place))
        else:
            by_node.setdefault(node, []).append(place)
    for node, place in ends(left, "R"):
        if node == ground:
            edges.append((place, BOTTOM))
        else:
            edges += [(place, other) for other in by_node.get(node, ())]
    return edges


def _count(edges: Sequence[Edge]) -> int:
    """Pairs of edges that cross."""
    passed: list[float] = []
    crossed = 0
    for _, end in sorted(edges):
        crossed += len(passed) - bisect_right(passed, end)
        insort(passed, end)
    return crossed


def crossings(columns: Sequence[Sequence[Item]], ground: str) -> int:
    between = sum(_count(_edges(a, b, ground)) for a, b in pairwise(columns))
    return (
        between + _count(_edges([], columns[0], ground)) + _count(_edges(columns[-1], [], ground))
    )


def _by_barycentre(columns: Columns, k: int, fixed: int, ground: str) -> list[Item]:
    side, other = ("L", "R") if fixed < k else ("R", "L")
    at: dict[str, list[float]] = {}
    for node, place in ends(columns[fixed], other):
        at.setdefault(node, []).append(place)
    wanted: dict[str, float] = {}
    for here, item in enumerate(columns[k]):
        near = [p for pin in item.pins if pin.side == side for p in at.get(pin.node, ())]
        wanted[item.key] = sum(near) / len(near) if near else float(here)
    return sorted(columns[k], key=lambda item: wanted[item.key])


def _swapped(columns: Columns, ground: str) -> Columns:
    """Neighbours change places while that saves crossings."""
    for k, column in enumerate(columns):
        sides = []
        for side, at, other in (("L", k - 1, "R"), ("R", k + 1, "L")):
            near: dict[str, list[float]] = {ground: [BOTTOM]}
            for node, place in ends(columns[at], other) if 0 <= at < len(columns) else ():
                if node != ground:
                    near.setdefault(node, []).append(place)
            sides.append((side, near))
        reach = {
            item.key: [
                sorted(p for pin in item.pins if pin.side == side for p in near.get(pin.node, ()))
                for side, near in sides
            ]
            for item in column
        }
        for i in range(len(column) - 1):
            above, below = reach[column[i].key], reach[column[i + 1].key]
            if _between(below, above) < _between(above, below):
                column[i], column[i + 1] = column[i + 1], column[i]
    return columns


def _between(above: list[list[float]], below: list[list[float]]) -> int:
    """Crossings of the edges of two neighbours, the first one above."""
    return sum(
        len(upper) - bisect_right(upper, place)
        for upper, lower in zip(above, below, strict=True)
        for place in lower
    )
