"""What lies on what in a layout, looked at from the finished places alone.

Wires may cross; nothing else may touch what it does not belong to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from knowngood.drawing.layout import Layout, Spot, Wire
from knowngood.drawing.shapes import Box, Disc, Line, Point
from knowngood.drawing.symbols import R_MARK, R_POINT

_SLACK = 0.05  # mm


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
    return [*_labels(layout), *_symbols(layout), *_points(layout), *_wires(layout)]


@dataclass(frozen=True, slots=True)
class _Piece:
    """A straight piece of a symbol, or a disc (a = b, radius r)."""

    name: str
    a: Point
    b: Point
    r: float = 0.0


def _pieces(layout: Layout) -> list[_Piece]:
    found = []
    for one in layout.placed:
        for shape in one.shapes:
            if isinstance(shape, Disc):
                found.append(_Piece(one.key, (shape.x, shape.y), (shape.x, shape.y), shape.r))
            else:
                found += [_Piece(one.key, a, b) for a, b in _sides(shape)]
    return found


def _sides(line: Line) -> Iterator[tuple[Point, Point]]:
    yield from zip(line.points, line.points[1:], strict=False)
    if line.closed:
        yield line.points[-1], line.points[0]


def _labels(layout: Layout) -> Iterator[Collision]:
    words = [w for one in layout.placed for w in one.words] + list(layout.words)
    pieces = _pieces(layout)
    for a, b in combinations(words, 2):
        if a.box.overlaps(b.box, _SLACK):
            yield Collision(repr(a.text), repr(b.text), (b.x, b.y))
    for one in words:
        box, name = one.box, repr(one.text)
        for piece in pieces:
            if _hits(box, piece.a, piece.b, piece.r):
                yield Collision(name, f"symbol {piece.name!r}", piece.a)
        for wire in layout.wires:
            if _hits(box, wire.a, wire.b):
                yield Collision(name, f"wire {wire.node!r}", wire.a)
        for node, at in layout.dots:
            if _hits(box, at, at, 0.65):
                yield Collision(name, f"junction {node!r}", at)
        if box.x0 < 0 or box.y0 < 0 or box.x1 > layout.width or box.y1 > layout.height:
            yield Collision(name, "the edge of the picture", (one.x, one.y))


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


def _points(layout: Layout) -> Iterator[Collision]:
    things: list[tuple[str, str, Box]] = []
    for spot in layout.spots:
        things.append((f"point {spot.number}", spot.node, _around(spot.at, R_POINT)))
        if spot.mark is not None:
            things.append((f"mark of point {spot.number}", spot.node, _around(spot.mark, R_MARK)))
    for (a, _, box), (b, _, other) in combinations(things, 2):
        if box.overlaps(other, _SLACK):
            yield Collision(a, b, (other.x0, other.y0))
    words = [w for one in layout.placed for w in one.words] + list(layout.words)
    own = _own_flags(layout)
    pieces = _pieces(layout)
    for name, node, box in things:
        for one in words:
            if box.overlaps(one.box, _SLACK):
                yield Collision(name, repr(one.text), (one.x, one.y))
        for piece in pieces:
            if own.get(piece.name) != node and _hits(box, piece.a, piece.b, piece.r):
                yield Collision(name, f"symbol {piece.name!r}", piece.a)
        for wire in layout.wires:
            if (wire.node != node or name.startswith("mark")) and _hits(box, wire.a, wire.b):
                yield Collision(name, f"wire {wire.node!r}", wire.a)
        for other_node, at in layout.dots:
            if other_node != node and _hits(box, at, at, 0.65):
                yield Collision(name, f"junction {other_node!r}", at)


def _own_flags(layout: Layout) -> dict[str, str]:
    flags = {one.key for one in layout.placed if one.kind == "flag"}
    return {pin.ref: pin.node for pin in layout.pins if pin.ref in flags}


def _wires(layout: Layout) -> Iterator[Collision]:
    """Wires of two nodes may cross, not touch with an end or run in each other."""
    for a, b in combinations(layout.wires, 2):
        if a.node != b.node and (at := _touch(a, b)):
            yield Collision(f"wire {a.node!r}", f"wire {b.node!r}", at)
    for node, at in layout.dots:
        for wire in layout.wires:
            if wire.node != node and _on(at, wire, 0.65):
                yield Collision(f"junction {node!r}", f"wire {wire.node!r}", at)


def _touch(a: Wire, b: Wire) -> Point | None:
    for one, other in ((a, b), (b, a)):
        for end in (one.a, one.b):
            if _on(end, other, 0.2):
                return end
    return None


def _on(at: Point, wire: Wire, by: float) -> bool:
    return _far(at, wire.a, wire.b) < by


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
    return sum(
        a.node != b.node and _cross(a, b) for a, b in combinations(layout.wires, 2)
    )


def _cross(a: Wire, b: Wire) -> bool:
    level, upright = (a, b) if a.a[1] == a.b[1] else (b, a)
    if level.a[1] != level.b[1] or upright.a[0] != upright.b[0]:
        return False
    x, y = upright.a[0], level.a[1]
    return level.a[0] < x < level.b[0] and upright.a[1] < y < upright.b[1]


def spots_of(layout: Layout) -> Sequence[Spot]:
    """The test points where probes go, by number."""
    return sorted((s for s in layout.spots if not s.again), key=lambda s: s.number)
