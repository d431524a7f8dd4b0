"""Where everything in the picture of a circuit stands, in mm, before it becomes SVG."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence, Set
from dataclasses import dataclass

from knowngood.circuit.circuit import Circuit
from knowngood.drawing.flow import Flow, flow
from knowngood.drawing.items import Item, element_item
from knowngood.drawing.lettering import cut, tidy, width_of, wrapped
from knowngood.drawing.shapes import SIZE, Point, Words
from knowngood.drawing.strip import PinAt, Placed, Strip, Wire, least_width, strip_of
from knowngood.drawing.symbols import R_POINT, TO_MARK

__all__ = ["Layout", "PinAt", "Placed", "Spot", "Wire", "lay_out"]

_EDGE = 3.0
_LINE = 3.4
_BETWEEN = 4.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A test point. `mark` is kept free for the mark of a probe. `plug`: a pin of a connector,
    drawn as a square. `again`: a repeat at a flag or in the list, where no probe is shown."""

    node: str
    number: int
    at: Point
    plug: bool
    mark: Point | None = None
    again: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """Everything at its place; probes and highlights are added when it is drawn, so the picture
    stands still from one step to the next. `words` are those that belong to no symbol."""

    width: float
    height: float
    name: str
    ground: str
    placed: tuple[Placed, ...]
    wires: tuple[Wire, ...]
    dots: tuple[tuple[str, Point], ...]
    pins: tuple[PinAt, ...]
    spots: tuple[Spot, ...]
    words: tuple[Words, ...]
    breaks: tuple[float, ...] = ()
    """Heights at which the picture may be parted into pages: above each row, and the list."""
    numbers: tuple[tuple[str, int], ...] = ()
    """Number of every node, also of those that do not bear it."""

    def number(self, node: str) -> int:
        """The number of a node in the picture; KeyError if it has none."""
        return next((s.number for s in self.spots if s.node == node), None) or self._missing(node)

    def _missing(self, node: str) -> int:
        if node == self.ground:
            return 0
        raise KeyError(node)


def lay_out(
    circuit: Circuit,
    *,
    width_mm: float = 180.0,
    words: Mapping[str, str] | None = None,
    colours: Mapping[str, str] | None = None,
    numbers: Mapping[str, int] | None = None,
    points: Collection[str] | None = None,
    listing: bool = True,
) -> Layout:
    """`words`: element or node -> what a person calls it; `colours`: element or node -> colour of
    its wire; both go before what the circuit itself says.

    `numbers`: node -> its number, where another picture gave them already. `points`: the nodes
    that a probe can reach (None: all). They and the return are numbered and, with `listing`, stand
    in the list below; any other node bears its number only where its wire goes on in another row.

    Columns that do not fit into `width_mm` go on in a row below. A column wider than `width_mm`
    makes a wider picture. ValueError under 60 mm."""
    if not width_mm >= 60:
        raise ValueError(f"width_mm is {width_mm:g}; a column of symbols needs 60 mm or more")
    words, colours = words or {}, colours or {}
    streams = flow(circuit)
    columns: list[list[Item]] = []
    for element in sorted(circuit.elements, key=lambda e: streams.column[e.ref]):
        while len(columns) <= streams.column[element.ref]:
            columns.append([])
        said, colour = words.get(element.ref, ""), colours.get(element.ref, "")
        item = element_item(element, streams.sides[element.ref], said, colour)
        columns[-1].append(item)
    strips = _strips([c for c in columns if c], circuit, streams, width_mm - 2 * _EDGE)
    return _stacked(circuit, strips, streams.main, width_mm, words, colours, numbers, points,
                    listing)  # fmt: skip


def _strips(columns: list[list[Item]], circuit: Circuit, streams: Flow, room: float) -> list[Strip]:
    """As many columns in each as fit; one fewer where that leaves two wires less to go on."""

    def wider(start: int, end: int, row: int) -> bool:  # with the widest pointers there may be
        mine, ground = columns[start:end], circuit.ground
        here = _nodes(mine, ground)
        before, after = (_nodes(c, ground) for c in (columns[:start], columns[end:]))
        come = {node: f"row {row}" for node in here if node in before}
        go = {node: f"row {row + 1}" for node in here if node in after}
        new = [node for node in here if node not in come]
        if least_width(mine, ground, new, come, go) > room:
            return True
        return strip_of(mine, ground, streams.main, new, come, go).width > room

    cuts: list[tuple[int, int]] = []
    start = 0
    while start < len(columns):
        row, end, wide = len(cuts) + 1, start, 0.0
        while end < len(columns) and (end == start or wide < room):
            wide += max(item.width for item in columns[end]) + 2 * _EDGE
            end += 1
        while end > start + 1 and wider(start, end, row):
            end -= 1
        if start + 2 < end < len(columns):
            here, less = (len(_cut_nodes(columns, at, circuit.ground)) for at in (end, end - 1))
            if less + 2 <= here and not wider(start, end - 1, row):
                end -= 1
        cuts.append((start, end))
        start = end
    rows = [columns[a:b] for a, b in cuts]
    pointers = pointers_of([set(_nodes(row, circuit.ground)) for row in rows])
    strips = []
    for one, (come, go) in zip(rows, pointers, strict=True):
        nodes = _nodes(one, circuit.ground)
        new = [node for node in nodes if node not in come]
        ordered = [{n: where[n] for n in nodes if n in where} for where in (come, go)]
        strips.append(strip_of(one, circuit.ground, streams.main, new, *ordered))
    return strips


def pointers_of(rows: Sequence[Set[str]]) -> list[tuple[dict[str, str], dict[str, str]]]:
    """Of each row (the nodes in it): node -> "row 2" where it was last, and where it is next."""
    found = []
    for at, here in enumerate(rows):
        come, go = {}, {}
        for node in sorted(here):
            earlier = [n for n in range(at) if node in rows[n]]
            later = [n for n in range(at + 1, len(rows)) if node in rows[n]]
            if earlier:
                come[node] = f"row {earlier[-1] + 1}"
            if later:
                go[node] = f"row {later[0] + 1}"
        found.append((come, go))
    return found


def _nodes(columns: Sequence[Sequence[Item]], ground: str) -> dict[str, None]:
    return {p.node: None for c in columns for i in c for p in i.pins if p.node != ground}


def _cut_nodes(columns: list[list[Item]], at: int, ground: str) -> list[str]:
    after = _nodes(columns[at:], ground)
    return [node for node in _nodes(columns[:at], ground) if node in after]


def _stacked(
    circuit: Circuit,
    strips: list[Strip],
    main: frozenset[str],
    width_mm: float,
    words: Mapping[str, str],
    colours: Mapping[str, str],
    given: Mapping[str, int] | None,
    points: Collection[str] | None,
    listing: bool,
) -> Layout:
    placed: list[Placed] = []
    wires: list[Wire] = []
    dots: list[tuple[str, Point]] = []
    pins: list[PinAt] = []
    said: list[Words] = []
    at: dict[str, Point] = {}
    again: list[tuple[str, Point]] = []
    width = max([width_mm, *(s.width + 2 * _EDGE for s in strips)])
    y = _EDGE
    if circuit.name:
        y += 0.8 * SIZE
        said.append(Words(_EDGE, y, cut(tidy(circuit.name), width - 2 * _EDGE, SIZE, True), True))
        y += 2.0
    breaks: list[float] = []
    for k, strip in enumerate(strips):
        breaks += [y - _BETWEEN / 2] if k else []
        if len(strips) > 1:
            y += 0.8 * SIZE
            said.append(Words(_EDGE, y, f"row {k + 1}", bold=True))
            y += 1.4
        x = _EDGE
        placed += [_moved(one, x, y) for one in strip.placed]
        wires += [Wire(w.node, _by(w.a, x, y), _by(w.b, x, y), w.rail) for w in strip.wires]
        dots += [(node, _by(p, x, y)) for node, p in strip.dots]
        pins += [PinAt(p.ref, p.pin, p.node, _by(p.at, x, y)) for p in strip.pins]
        at |= {node: _by(p, x, y) for node, p in strip.spots.items()}
        again += [(node, _by(p, x, y)) for node, p in strip.flags]
        if strip.rail is not None:
            here = _by(strip.rail, x, y)
            if circuit.ground in at:
                again.append((circuit.ground, here))
            at.setdefault(circuit.ground, here)
            said.append(_return_words(circuit.ground, here, width))
        y += strip.height + _BETWEEN
    numbers = _numbers(circuit, at, strips, main)
    if given is not None:
        numbers = {node: given[node] for node in sorted(numbers, key=given.__getitem__)}
    reached = {circuit.ground, *(numbers if points is None else points)}
    bear = reached | {node for node, _ in again}
    spots = [
        Spot(node, number, at[node], _plug(circuit, node), _mark(circuit, node, at[node]))
        for node, number in numbers.items()
        if node in at and node in bear
    ]
    spots += [Spot(n, numbers[n], p, _plug(circuit, n), again=True) for n, p in again]
    list_at = y - _BETWEEN / 2
    meant = {node: number for node, number in numbers.items() if node in reached}
    listed, lines = list[Spot](), list[Words]()
    if listing:
        listed, lines, y = _listing(circuit, meant, y, width, words, colours)
    return Layout(
        width=round(width, 3),
        height=round(y + _EDGE, 3),
        name=circuit.name,
        ground=circuit.ground,
        placed=tuple(placed),
        wires=tuple(_joined(wires)),
        dots=tuple(dots),
        pins=tuple(pins),
        spots=(*spots, *listed),
        words=(*said, *lines),
        breaks=(*breaks, *([list_at] if listing else [])),
        numbers=tuple(numbers.items()),
    )


def _return_words(ground: str, at: Point, width: float) -> Words:
    """Below the rail, beside its number: on the right, or on the left where that has more room."""
    left, right = at[0] - _EDGE, width - _EDGE - at[0]
    text = f"{tidy(ground)}, return"
    beside = R_POINT + 1.2
    if left > right and width_of(text, SIZE) > right - beside:
        return Words(at[0] - beside, at[1] + 3.2, cut(text, left - beside, SIZE), anchor="end")
    return Words(at[0] + beside, at[1] + 3.2, cut(text, min(60, right - beside), SIZE))


def _mark(circuit: Circuit, node: str, at: Point) -> Point:
    below = node == circuit.ground
    return (at[0], at[1] + (TO_MARK if below else -TO_MARK))


def _numbers(
    circuit: Circuit, at: Mapping[str, Point], strips: list[Strip], main: frozenset[str]
) -> dict[str, int]:
    """0 is the return; the others count row by row, from left to right, the main way first."""
    numbers = {circuit.ground: 0}
    for strip in strips:
        for node in sorted(strip.spots, key=lambda n: (n not in main, strip.spots[n], n)):
            numbers.setdefault(node, len(numbers))
    return {node: k for node, k in numbers.items() if node in at}


def _plug(circuit: Circuit, node: str) -> bool:
    """ "C4.2" is pin 2 of connector C4, where C4 is no element."""
    name, dot, _ = node.rpartition(".")
    return bool(dot) and (name in circuit.connectors or name not in circuit.by_ref)


def _listing(
    circuit: Circuit,
    numbers: Mapping[str, int],
    y: float,
    width: float,
    words: Mapping[str, str],
    colours: Mapping[str, str],
) -> tuple[list[Spot], list[Words], float]:
    """What each number means, in columns below the picture."""
    count = max(1, int((width - 2 * _EDGE) // 56))
    wide = (width - 2 * _EDGE) / count
    spots: list[Spot] = []
    said: list[Words] = []
    y += 0.8 * SIZE
    said.append(Words(_EDGE, y, "Test points", bold=True))
    y += 2.2
    entries = []
    for node, number in numbers.items():
        text = tidy(node)
        more = [tidy(words.get(node, "")), tidy(colours.get(node, ""))]
        text += "".join(f", {one}" for one in more if one)
        entries.append((node, number, wrapped(text, wide - 8, SIZE, 5)))
    share = -(-len(entries) // count)
    bottom = y
    for column in range(count):
        top = y
        for node, number, lines in entries[column * share : (column + 1) * share]:
            x = _EDGE + column * wide
            middle = top + R_POINT
            spots.append(
                Spot(node, number, (x + R_POINT, middle), _plug(circuit, node), again=True)
            )
            for k, line in enumerate(lines):
                said.append(Words(x + 2 * R_POINT + 1.2, middle + 0.9 + k * _LINE, line))
            top += max(2 * R_POINT + 0.6, 1.6 + len(lines) * _LINE)
        bottom = max(bottom, top)
    return spots, said, bottom


def _moved(one: Placed, x: float, y: float) -> Placed:
    return Placed(
        one.key,
        one.kind,
        one.body.moved(x, y) if one.body else None,
        tuple(s.moved(x, y) for s in one.shapes),
        tuple(w.moved(x, y) for w in one.words),
    )


def _by(point: Point, x: float, y: float) -> Point:
    return (round(point[0] + x, 3), round(point[1] + y, 3))


def _joined(wires: list[Wire]) -> list[Wire]:
    """Level pieces of one node that touch, as one."""
    done: list[Wire] = []
    for wire in sorted(wires, key=lambda w: (w.node, w.rail, w.a[1] != w.b[1], w.a[1], w.a[0])):
        last = done[-1] if done else None
        a, b = sorted((wire.a, wire.b))
        level = a[1] == b[1]
        if (
            last is not None and level and last.node == wire.node and last.rail == wire.rail
            and last.a[1] == last.b[1] == a[1] and a[0] <= last.b[0]
        ):  # fmt: skip
            done[-1] = Wire(wire.node, last.a, max(last.b, b), wire.rail)
        else:
            done.append(Wire(wire.node, a, b, wire.rail))
    return done
