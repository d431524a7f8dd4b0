"""Rows for the items of a strip: wires level where they can be, uprights without rings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from knowngood.drawing.channels import Ring, Upright, crossed, side_by_side
from knowngood.drawing.items import Item
from knowngood.drawing.place import Apart, Span, places
from knowngood.drawing.symbols import PITCH

_GAP = 0.8  # mm between what stands in one column
_TRIES = 40
_MAIN, _PLAIN = 12.0, 2.0


@dataclass(frozen=True, slots=True)
class Rows:
    """`row` of each item by key, and the uprights of each channel from left to right."""

    row: Mapping[str, int]
    channels: tuple[tuple[Upright, ...], ...]

    @property
    def cost(self) -> float:
        """Crossings first, then the length of uprights."""
        cross = sum(crossed(c) for c in self.channels)
        long = sum(u.rows[-1] - u.rows[0] for c in self.channels for u in c)
        return 10.0 * cross + long


def rows_of(
    columns: Sequence[Sequence[Item]],
    ground: str,
    main: frozenset[str],
    points: Mapping[str, int],
) -> Rows:
    """`points`: the channel in which each node's number stands."""
    number = {item.key: k for k, column in enumerate(columns) for item in column}
    number = {key: k for k, key in enumerate(number)}
    apart = [
        Apart(number[a.key], number[b.key], _steps(a, b))
        for column in columns
        for a, b in pairwise(column)
    ]
    spans = _spans(columns, number, ground, main)
    found = places(len(number), apart, spans)
    assert found is not None, "an order has rows"
    for _ in range(_TRIES):
        row = {key: found[k] for key, k in number.items()}
        channels = _channels(columns, row, ground, points)
        ring = _first_ring(channels)
        if ring is None:
            return Rows(row, _settled(channels))
        k, why = ring
        left = _at(columns[k - 1], "R", why.left, why.row, row)
        right = _at(columns[k], "L", why.right, why.row, row)
        gap = row[right] - row[left]  # keeps the pins level; one more parts them
        for first, second, by in ((left, right, gap + 1), (right, left, 1 - gap)):
            more = places(len(number), [*apart, Apart(number[first], number[second], by)], spans)
            if more is not None:
                apart.append(Apart(number[first], number[second], by))
                found = more
                break
        else:
            break
    return _forced(columns, {key: found[k] for key, k in number.items()}, ground, points)


def _forced(
    columns: Sequence[Sequence[Item]],
    row: dict[str, int],
    ground: str,
    points: Mapping[str, int],
) -> Rows:
    """Every other row left free, and what is right of a ring moved onto those."""
    row = {key: 2 * r for key, r in row.items()}
    for k in range(1, len(columns)):
        channels = _channels(columns, row, ground, points)
        if isinstance(side_by_side(channels[k]), Ring):
            for column in columns[k:]:
                row |= {item.key: row[item.key] + 1 for item in column}
            # Items of several rows may still meet others on these: make room for one at a time.
            channels = _channels(columns, row, ground, points)
            while isinstance(ring := side_by_side(channels[k]), Ring):
                below = _at(columns[k], "L", ring.right, ring.row, row)
                start = row[below]
                top = max(row.values()) + 2
                for column in columns[k:]:
                    later = [item.key for item in column if row[item.key] >= start]
                    row |= {key: row[key] + top for key in later}
                channels = _channels(columns, row, ground, points)
    return Rows(row, _settled(_channels(columns, row, ground, points)))


def _steps(above: Item, below: Item) -> int:
    """Rows from the first row of one item to that of the next below."""
    return above.rows + max(1, math.ceil((above.down + below.up + _GAP) / PITCH))


def _spans(
    columns: Sequence[Sequence[Item]], number: Mapping[str, int], ground: str, main: frozenset[str]
) -> list[Span]:
    spans = []
    for k in range(len(columns) + 1):
        ends: dict[str, list[tuple[int, int]]] = {}
        for side, at in (("R", k - 1), ("L", k)):
            for item in columns[at] if 0 <= at < len(columns) else ():
                for pin in item.pins:
                    if pin.side == side and pin.node != ground:
                        ends.setdefault(pin.node, []).append((number[item.key], pin.row))
        for node, found in ends.items():
            if len(found) > 1:
                weight = _MAIN if node in main else _PLAIN
                spans.append(Span(weight if len(found) == 2 else weight / 2, tuple(found)))
    return spans


def _channels(
    columns: Sequence[Sequence[Item]],
    row: Mapping[str, int],
    ground: str,
    points: Mapping[str, int],
) -> list[list[Upright]]:
    channels = []
    for k in range(len(columns) + 1):
        left: dict[str, list[int]] = {}
        right: dict[str, list[int]] = {}
        for side, at, into in (("R", k - 1, left), ("L", k, right)):
            for item in columns[at] if 0 <= at < len(columns) else ():
                for pin in item.pins:
                    if pin.side == side:
                        into.setdefault(pin.node, []).append(row[item.key] + pin.row)
        channels.append(
            [
                Upright(
                    node,
                    tuple(left.get(node, ())),
                    tuple(right.get(node, ())),
                    node == ground,
                    points.get(node) == k,
                )
                for node in dict.fromkeys((*left, *right))
            ]
        )
    return channels


def _first_ring(channels: Sequence[Sequence[Upright]]) -> tuple[int, Ring] | None:
    for k, channel in enumerate(channels):
        found = side_by_side(channel)
        if isinstance(found, Ring):
            return k, found
    return None


def _settled(channels: Sequence[Sequence[Upright]]) -> tuple[tuple[Upright, ...], ...]:
    settled = []
    for channel in channels:
        found = side_by_side(channel)
        assert not isinstance(found, Ring), "rings were parted"
        settled.append(tuple(found))
    return tuple(settled)


def _at(column: Sequence[Item], side: str, node: str, at_row: int, row: Mapping[str, int]) -> str:
    return next(
        item.key
        for item in column
        for pin in item.pins
        if pin.side == side and pin.node == node and row[item.key] + pin.row == at_row
    )
