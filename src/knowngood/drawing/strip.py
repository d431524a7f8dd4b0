"""One row of the picture: columns of items with the channels between, and the return's rail."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from knowngood.drawing.channels import Upright
from knowngood.drawing.items import Item, flag, passing
from knowngood.drawing.order import ordered
from knowngood.drawing.rows import Rows, rows_of
from knowngood.drawing.shapes import Box, Point, Words
from knowngood.drawing.symbols import PITCH, R_MARK, R_POINT, TO_MARK, Shape

_SLOT, _POINT_SLOT, _MARGIN = 2.2, 5.2, 0.5
_TO_RAIL = 3.0


@dataclass(frozen=True, slots=True)
class Placed:
    """An element or flag where it stands; `body` is its symbol's box."""

    key: str
    kind: str
    body: Box | None
    shapes: tuple[Shape, ...]
    words: tuple[Words, ...]


@dataclass(frozen=True, slots=True)
class Wire:
    """A straight piece of a node's wire; `rail` is the return's."""

    node: str
    a: Point
    b: Point
    rail: bool = False


@dataclass(frozen=True, slots=True)
class PinAt:
    """Where a wire meets a pin. A flag's pin has the flag's key as `ref`."""

    ref: str
    pin: str
    node: str
    at: Point


@dataclass(slots=True)
class Strip:
    """Places relative to the upper left corner; `spots` is where a node's number stands and
    `flags` where it stands again at the end of a wire that goes on elsewhere."""

    width: float = 0.0
    height: float = 0.0
    placed: list[Placed] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    dots: list[tuple[str, Point]] = field(default_factory=list)
    pins: list[PinAt] = field(default_factory=list)
    spots: dict[str, Point] = field(default_factory=dict)
    flags: list[tuple[str, Point]] = field(default_factory=list)
    rail: Point | None = None  # where the return's number stands


def strip_of(
    columns: Sequence[Sequence[Item]],
    ground: str,
    main: frozenset[str],
    new: Iterable[str],
    come: Mapping[str, str],
    go: Mapping[str, str],
) -> Strip:
    """`new`: nodes to be numbered here; `come` and `go`: nodes that come from and go to other
    rows, with the words of their flags. A strip once drawn is kept: it is not to be changed."""
    return _strip_of(tuple(map(tuple, columns)), ground, main, tuple(new), tuple(come.items()),
                     tuple(go.items()))  # fmt: skip


Said = tuple[tuple[str, str], ...]


@lru_cache(maxsize=256)
def _strip_of(
    columns: tuple[tuple[Item, ...], ...],
    ground: str,
    main: frozenset[str],
    new: tuple[str, ...],
    come: Said,
    go: Said,
) -> Strip:
    full, points, by_flag = _filled(columns, ground, new, dict(come), dict(go))
    best: tuple[float, list[list[Item]], Rows] | None = None
    seen: set[tuple[tuple[str, ...], ...]] = set()
    for start in _starts(full, main):
        tried = ordered(start, ground)
        keys = tuple(tuple(item.key for item in column) for column in tried)
        if keys in seen:
            continue
        seen.add(keys)
        rows = rows_of(tried, ground, main, points)
        if best is None or rows.cost < best[0] - 1e-9:
            best = (rows.cost, tried, rows)
    assert best is not None
    return _drawn(best[1], best[2], ground, by_flag)


def _filled(
    columns: Sequence[Sequence[Item]],
    ground: str,
    new: Iterable[str],
    come: Mapping[str, str],
    go: Mapping[str, str],
) -> tuple[list[list[Item]], dict[str, int], set[str]]:
    """With the flags at either end and the wires that pass; the channel in which each new node's
    number stands; the nodes whose number stands at their flag."""
    fresh = [node for node in new if node != ground]
    full, by_flag = _flagged([list(c) for c in columns if c], come, go, fresh)
    channels = _seen(full)
    points = {node: min(channels[node]) for node in fresh if node not in by_flag}
    for node, spread in channels.items():
        if node != ground:
            for k in range(min(spread), max(spread)):
                full[k].append(passing(node, k))
    return full, points, by_flag


def least_width(
    columns: Sequence[Sequence[Item]],
    ground: str,
    new: Iterable[str],
    come: Mapping[str, str],
    go: Mapping[str, str],
) -> float:
    """Width that `strip_of` has at the very least, however its items are ordered: the columns, the
    margins, the uprights that there must be."""
    full, points, _ = _filled(columns, ground, new, come, go)
    wide = sum(max(item.width for item in column) for column in full)
    for k in range(len(full) + 1):
        left = full[k - 1] if k else []
        right = full[k] if k < len(full) else []
        sides = [[p.node for i in column for p in i.pins if p.side == side]
                 for column, side in ((left, "R"), (right, "L"))]  # fmt: skip
        upright = {n for nodes in sides for n in nodes if n == ground or nodes.count(n) > 1}
        numbered = {node for node, at in points.items() if at == k}
        stacked = min(len(numbered - upright), 1)  # one above the other, it may be
        wide += 2 * _MARGIN + _SLOT * len(upright - numbered)
        wide += _POINT_SLOT * (len(upright & numbered) + stacked)
    return wide - 1e-6


def _seen(columns: Sequence[Sequence[Item]]) -> dict[str, list[int]]:
    """The channels in which each node has pins; channel k lies left of column k."""
    seen: dict[str, list[int]] = {}
    for k, column in enumerate(columns):
        for item in column:
            for pin in item.pins:
                seen.setdefault(pin.node, []).append(k + int(pin.side == "R"))
    return seen


def _flagged(
    columns: list[list[Item]], come: Mapping[str, str], go: Mapping[str, str], new: Sequence[str]
) -> tuple[list[list[Item]], set[str]]:
    """With a column of flags at either end: what comes on the left, what goes on the right, and
    what has its pins at the other end there. And the new nodes whose flag is all it takes."""
    seen, count = _seen(columns), len(columns)
    first: list[Item] = []
    last: list[Item] = []
    for node, text in come.items():
        near_end = count - max(seen[node]) + 1 < min(seen[node])
        (last if near_end else first).append(flag(node, "L" if near_end else "R", text))
    alone = {node for node in go if node in new and min(seen[node]) == count}
    for node, text in go.items():
        last.append(flag(node, "L", text, mark=node in alone))
    return [column for column in (first, *columns, last) if column], alone


def _starts(columns: list[list[Item]], main: frozenset[str]) -> list[list[list[Item]]]:
    """Orders to begin from: what lies on the main way on top, as listed, and upside down."""

    def off_main(item: Item) -> tuple[bool, bool]:
        mine = sum(pin.node in main for pin in item.pins)
        return mine < min(2, len(item.pins)), item.kind == "passing"

    first = [sorted(column, key=off_main) for column in columns]
    passing_first = [sorted(column, key=lambda i: i.kind != "passing") for column in columns]
    return [first, [list(c) for c in columns], passing_first, [c[::-1] for c in columns]]


def _drawn(columns: list[list[Item]], rows: Rows, ground: str, by_flag: set[str]) -> Strip:
    strip = Strip()
    tops = [rows.row[i.key] * PITCH - i.up for c in columns for i in c]
    marks = [u.rows[0] * PITCH - TO_MARK - R_MARK for c in rows.channels for u in c if u.point]
    drop = -min(tops + marks)
    foot = max(rows.row[i.key] * PITCH + i.rows * PITCH + i.down for c in columns for i in c) + drop
    lowest = max(u.rows[-1] for c in rows.channels for u in c) * PITCH + drop
    foot = max(foot, lowest + 2 * R_POINT + 0.4 - _TO_RAIL)  # for a point above the rail's own
    grounded = any(u.ground for c in rows.channels for u in c)
    rail_y = foot + _TO_RAIL
    x = 0.0
    edges: list[tuple[float, float]] = []  # of each channel
    slots: list[dict[str, float]] = []
    for k, channel in enumerate(rows.channels):
        begin = x
        x += _MARGIN
        at: dict[str, float] = {}
        shared: set[int] = set()  # rows of the points that stand above each other here
        for one in channel:
            if one.level:
                continue
            alone = one.ground or len(one.rows) > 1
            if shared and not alone and one.rows[0] not in shared:
                at[one.node] = x - _POINT_SLOT / 2
                shared.add(one.rows[0])
                continue
            half = (_POINT_SLOT if one.point else _SLOT) / 2
            at[one.node] = x + half
            x += 2 * half
            shared = set() if alone else {one.rows[0]}
        x += _MARGIN
        edges.append((begin, x))
        slots.append(at)
        if k < len(columns):
            wide = max(item.width for item in columns[k])
            for item in columns[k]:
                y = rows.row[item.key] * PITCH + drop
                _put(strip, item, x + (wide - item.width) / 2, y, (x, x + wide))
            x += wide
    for channel, (x0, x1), at in zip(rows.channels, edges, slots, strict=True):
        for one in channel:
            _wire(strip, one, at.get(one.node), x0, x1, drop, rail_y)
    strip.spots |= {node: p for node, p in strip.flags if node in by_flag}
    strip.flags = [(node, p) for node, p in strip.flags if node not in by_flag]
    strip.width, strip.height = x, foot
    if grounded:
        _rail(strip, ground, rail_y)
    return strip


def _put(strip: Strip, item: Item, x: float, y: float, column: tuple[float, float]) -> None:
    if item.kind == "passing":
        strip.wires.append(Wire(item.pins[0].node, (column[0], y), (column[1], y)))
        return
    body = Box(*item.body).moved(x, y) if item.body else None
    shapes = tuple(one.moved(x, y) for one in item.shapes)
    words = tuple(one.moved(x, y) for one in item.words)
    strip.placed.append(Placed(item.key, item.kind, body, shapes, words))
    for pin in item.pins:
        level = y + pin.row * PITCH
        inner, outer = (x, column[0]) if pin.side == "L" else (x + item.width, column[1])
        strip.pins.append(PinAt(item.key, pin.name, pin.node, (inner, level)))
        if inner != outer:
            strip.wires.append(Wire(pin.node, (inner, level), (outer, level)))
        if item.kind == "flag":
            strip.flags.append((pin.node, (x + float(pin.name), level)))


def _wire(
    strip: Strip, one: Upright, x: float | None, x0: float, x1: float, drop: float, rail: float
) -> None:
    def level(row: int) -> float:
        return row * PITCH + drop

    if x is None:
        strip.wires.append(Wire(one.node, (x0, level(one.rows[0])), (x1, level(one.rows[0]))))
        return
    for row in one.left:
        strip.wires.append(Wire(one.node, (x0, level(row)), (x, level(row))))
    for row in one.right:
        strip.wires.append(Wire(one.node, (x, level(row)), (x1, level(row))))
    top, foot = level(one.rows[0]), rail if one.ground else level(one.rows[-1])
    if foot > top:
        strip.wires.append(Wire(one.node, (x, top), (x, foot)))
    for row in one.rows:
        sides = (row in one.left) + (row in one.right)
        ways = sides + (level(row) > top) + (level(row) < foot)
        if ways > 2 and not (one.point and row == one.rows[0]):
            strip.dots.append((one.node, (x, level(row))))
    if one.point:
        strip.spots[one.node] = (x, top)


def _rail(strip: Strip, ground: str, y: float) -> None:
    drops = sorted(w.b[0] for w in strip.wires if w.node == ground and w.b[1] == y)
    left, right = drops[0], drops[-1]
    x = left + 3.4
    while any(abs(x - one) < 3.2 for one in drops):
        x += 0.5
    right = max(right, x + (3.0 if x > right else 0.0))
    strip.wires.append(Wire(ground, (left, y), (right, y), rail=True))
    strip.dots += [(ground, (one, y)) for one in drops]
    strip.rail = (x, y)
    strip.width = max(strip.width, right + 0.5)
    strip.height = y + TO_MARK + R_MARK
