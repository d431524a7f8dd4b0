"""What lies on what in a layout, looked at from the finished places alone.

Wires may cross; nothing else may touch what it does not belong to.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from knowngood.drawing.layout import Layout, Spot, Wire
from knowngood.drawing.shapes import Box, Disc, Line, Point, Words
from knowngood.drawing.symbols import R_MARK, R_POINT

_SLACK = 0.05  # mm
_SQUARE = 12.0  # mm


@dataclass(frozen=True, slots=True)
class Collision:
    """Two things in words, and where they meet."""

    first: str
    second: str
    at: Point

    def __str__(self) -> str:
        return f"{self.first} on {self.second} at {self.at[0]:.1f}, {self.at[1]:.1f} mm"


def collisions(layout: Layout) -> list[Collision]:
    """Every label, symbol, test point, mark or wire that touches what it must not."""
    near = _drawn(layout)
    return [*_labels(layout, near), *_symbols(layout), *_points(layout, near), *_wires(layout)]


@dataclass(frozen=True, slots=True)
class _Thing:
    """A straight piece of a wire or symbol, or a disc (a = b, radius r); `name` is the node or
    element."""

    kind: str
    name: str
    a: Point
    b: Point
    r: float = 0.0


class _Near:
    """Things by the squares of a grid that their boxes reach into."""

    def __init__(self, things: Iterable[tuple[Box, _Thing]]) -> None:
        self.squares: dict[tuple[int, int], list[_Thing]] = {}
        for box, thing in things:
            for square in _squares(box):
                self.squares.setdefault(square, []).append(thing)

    def to(self, box: Box) -> Iterator[_Thing]:
        found = (one for square in _squares(box) for one in self.squares.get(square, ()))
        yield from dict.fromkeys(found)


def _squares(box: Box) -> Iterator[tuple[int, int]]:
    for i in range(int(box.x0 // _SQUARE), int(box.x1 // _SQUARE) + 1):
        for j in range(int(box.y0 // _SQUARE), int(box.y1 // _SQUARE) + 1):
            yield i, j


def _straight(name: str, kind: str, a: Point, b: Point, r: float = 0.0) -> tuple[Box, _Thing]:
    (x0, x1), (y0, y1) = sorted((a[0], b[0])), sorted((a[1], b[1]))
    return Box(x0 - r, y0 - r, x1 + r, y1 + r), _Thing(kind, name, a, b, r)


def _drawn(layout: Layout) -> _Near:
    """Every piece of line that is drawn."""
    things = [_straight(p.name, "symbol", p.a, p.b, p.r) for p in _pieces(layout)]
    things += [_straight(w.node, "wire", w.a, w.b) for w in layout.wires]
    things += [_straight(node, "junction", at, at, 0.65) for node, at in layout.dots]
    return _Near(things)


def _pieces(layout: Layout) -> list[_Thing]:
    found = []
    for one in layout.placed:
        for shape in one.shapes:
            if isinstance(shape, Disc):
                found.append(
                    _Thing("symbol", one.key, (shape.x, shape.y), (shape.x, shape.y), shape.r)
                )
            else:
                found += [_Thing("symbol", one.key, a, b) for a, b in _sides(shape)]
    return found


def _sides(line: Line) -> Iterator[tuple[Point, Point]]:
    yield from zip(line.points, line.points[1:], strict=False)
    if line.closed:
        yield line.points[-1], line.points[0]


def _labels(layout: Layout, near: _Near) -> Iterator[Collision]:
    words = [(one.box, one) for one in _all_words(layout)]
    for (here, a), (there, b) in combinations(words, 2):
        if here.overlaps(there, _SLACK):
            yield Collision(repr(a.text), repr(b.text), (b.x, b.y))
    for box, one in words:
        name = repr(one.text)
        for thing in near.to(box):
            if _hits(box, thing.a, thing.b, thing.r):
                yield Collision(name, f"{thing.kind} {thing.name!r}", thing.a)
        if box.x0 < 0 or box.y0 < 0 or box.x1 > layout.width or box.y1 > layout.height:
            yield Collision(name, "the edge of the picture", (one.x, one.y))


def _all_words(layout: Layout) -> list[Words]:
    return [w for one in layout.placed for w in one.words] + list(layout.words)


def _symbols(layout: Layout) -> Iterator[Collision]:
    bodies = [(one.key, one.body) for one in layout.placed if one.body]
    for (a, box), (b, other) in combinations(bodies, 2):
        if box.overlaps(other, _SLACK):
            yield Collision(f"symbol {a!r}", f"symbol {b!r}", (other.x0, other.y0))
    for name, box in bodies:
        for wire in layout.wires:
            if _hits(box, wire.a, wire.b):
                yield Collision(f"wire {wire.node!r}", f"symbol {name!r}", (box.x0, box.y0))


def _around(at: Point, r: float) -> Box:
    return Box(at[0] - r, at[1] - r, at[0] + r, at[1] + r)


def _points(layout: Layout, near: _Near) -> Iterator[Collision]:
    things: list[tuple[str, str, Box]] = []
    for spot in layout.spots:
        things.append((f"point {spot.number}", spot.node, _around(spot.at, R_POINT)))
        if spot.mark is not None:
            things.append((f"mark of point {spot.number}", spot.node, _around(spot.mark, R_MARK)))
    for (a, _, box), (b, _, other) in combinations(things, 2):
        if box.overlaps(other, _SLACK):
            yield Collision(a, b, (other.x0, other.y0))
    own = _own_flags(layout)
    words = [(one.box, one) for one in _all_words(layout)]
    for name, node, box in things:
        for lettered, one in words:
            if box.overlaps(lettered, _SLACK):
                yield Collision(name, repr(one.text), (one.x, one.y))
        for thing in near.to(box):
            if thing.kind == "symbol":
                mine = own.get(thing.name) == node
            else:
                mine = thing.name == node and not name.startswith("mark")
            if not mine and _hits(box, thing.a, thing.b, thing.r):
                yield Collision(name, f"{thing.kind} {thing.name!r}", thing.a)


def _own_flags(layout: Layout) -> dict[str, str]:
    flags = {one.key for one in layout.placed if one.kind == "flag"}
    return {pin.ref: pin.node for pin in layout.pins if pin.ref in flags}


def _wires(layout: Layout) -> Iterator[Collision]:
    """Wires of two nodes may cross, not touch with an end or run in each other."""
    wires = [_straight(w.node, "wire", w.a, w.b, 0.2) for w in layout.wires]
    near = _Near(wires)
    for _, one in wires:
        for end in (one.a, one.b):
            for other in near.to(_around(end, 0.2)):
                if other.name != one.name and _far(end, other.a, other.b) < 0.2:
                    yield Collision(f"wire {one.name!r}", f"wire {other.name!r}", end)
    for node, at in layout.dots:
        for other in near.to(_around(at, 0.65)):
            if other.name != node and _far(at, other.a, other.b) < 0.65:
                yield Collision(f"junction {node!r}", f"wire {other.name!r}", at)


def _far(p: Point, a: Point, b: Point) -> float:
    """Distance of a point from a piece of line."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    long = dx * dx + dy * dy
    t = 0.0 if long == 0 else max(0.0, min(1.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / long))
    return math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)


def _hits(box: Box, a: Point, b: Point, r: float = 0.0) -> bool:
    """Whether a piece of line (or a disc of radius r at a) reaches into the box."""
    x0, y0, x1, y1 = box.x0 + _SLACK, box.y0 + _SLACK, box.x1 - _SLACK, box.y1 - _SLACK
    if r > 0:
        near = (min(max(a[0], x0), x1), min(max(a[1], y0), y1))
        return math.hypot(near[0] - a[0], near[1] - a[1]) < r
    # Liang and Barsky's clipping of a line by a rectangle
    low, high = 0.0, 1.0
    d = (b[0] - a[0], b[1] - a[1])
    for p, q in ((-d[0], a[0] - x0), (d[0], x1 - a[0]), (-d[1], a[1] - y0), (d[1], y1 - a[1])):
        if p == 0:
            if q < 0:
                return False
        elif p < 0:
            low = max(low, q / p)
        else:
            high = min(high, q / p)
    return low <= high


def crossings_of(layout: Layout) -> int:
    """How often wires of two nodes cross."""
    return sum(a.node != b.node and _cross(a, b) for a, b in combinations(layout.wires, 2))


def _cross(a: Wire, b: Wire) -> bool:
    level, upright = (a, b) if a.a[1] == a.b[1] else (b, a)
    if level.a[1] != level.b[1] or upright.a[0] != upright.b[0]:
        return False
    x, y = upright.a[0], level.a[1]
    return level.a[0] < x < level.b[0] and upright.a[1] < y < upright.b[1]


def spots_of(layout: Layout) -> Sequence[Spot]:
    """The test points where probes go, by number."""
    return sorted((s for s in layout.spots if not s.again), key=lambda s: s.number)
