"""The graphical symbol of each kind of element, after IEC 60617 (from memory of the symbols).

A symbol stands on rows `PITCH` apart; its pins lie on the left or right edge of it, row 0 at y = 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from knowngood.circuit.device import Module, Potentiometer, Relay, Winding3
from knowngood.circuit.element import Element, Switch
from knowngood.drawing.lettering import cut, tidy, width_of
from knowngood.drawing.shapes import SIZE, Disc, Line, Point, Words, rectangle

PITCH: Final = 9.0
"""Distance of rows in mm: room for a test point with a probe's mark above it."""

R_POINT: Final = 2.1
"""Radius of a test point's circle, of a probe's mark, and from one's middle to the other's: mm."""
R_MARK: Final = 2.0
TO_MARK: Final = 4.6

Side = Literal["L", "R"]
Shape = Line | Disc


@dataclass(frozen=True, slots=True)
class Pin:
    """Where the wire of `node` meets the symbol."""

    name: str
    node: str
    side: Side
    row: int = 0


@dataclass(frozen=True, slots=True)
class Symbol:
    """`up` and `down`: how far it reaches above its first and below its last row, in mm."""

    width: float
    up: float
    down: float
    pins: tuple[Pin, ...]
    shapes: tuple[Shape, ...]
    words: tuple[Words, ...] = ()

    @property
    def rows(self) -> int:
        return max((pin.row for pin in self.pins), default=0)


def _line(*points: Point) -> Line:
    return Line(points)


_BODY = rectangle(2.5, -1.3, 9.5, 1.3)
_LEADS = (_line((0, 0), (2.5, 0)), _line((9.5, 0), (12, 0)))
_ENDS = (Disc(2.5, 0, 0.6), Disc(9.5, 0, 0.6))


def _battery(_: Element) -> tuple[Shape, ...]:
    # minus on the left; the long thin plate is plus
    plates = [
        Line(((x, -h), (x, h)), "thick" if h < 2 else "normal")
        for x, h in ((4.4, 1.3), (5.4, 2.7), (6.6, 1.3), (7.6, 2.7))
    ]
    plus = (
        Line(((9.2, -1.8), (10.8, -1.8)), sign=True),
        Line(((10.0, -2.6), (10.0, -1.0)), sign=True),
    )
    return (_line((0, 0), (4.4, 0)), *plates, _line((7.6, 0), (12, 0)), *plus)


def _resistor(_: Element) -> tuple[Shape, ...]:
    return (*_LEADS, _BODY)


def _fuse(_: Element) -> tuple[Shape, ...]:
    return (_line((0, 0), (12, 0)), _BODY)


def _lamp(_: Element) -> tuple[Shape, ...]:
    d = 2.4 * math.sqrt(0.5)
    cross = (_line((6 - d, -d), (6 + d, d)), _line((6 - d, d), (6 + d, -d)))
    return (_line((0, 0), (3.6, 0)), _line((8.4, 0), (12, 0)), Disc(6, 0, 2.4), *cross)


def _wire(_: Element) -> tuple[Shape, ...]:
    return (*_LEADS, Line(((2.5, 0), (9.5, 0)), "thick"), *_ENDS)


def _switch(element: Element) -> tuple[Shape, ...]:
    closed = isinstance(element, Switch) and element.closed
    blade = _line((2.9, -0.4), (9.9, -0.7)) if closed else _line((2.9, -0.4), (9.0, -2.8))
    return (*_LEADS, blade, *_ENDS)


def _diode(_: Element) -> tuple[Shape, ...]:
    body = Line(((4.2, -1.9), (4.2, 1.9), (7.8, 0)), closed=True)
    return (_line((0, 0), (12, 0)), body, _line((7.8, -1.9), (7.8, 1.9)))


def _capacitor(_: Element) -> tuple[Shape, ...]:
    plates = (_line((5.4, -2.5), (5.4, 2.5)), _line((6.6, -2.5), (6.6, 2.5)))
    return (_line((0, 0), (5.4, 0)), _line((6.6, 0), (12, 0)), *plates)


def _thermistor(_: Element) -> tuple[Shape, ...]:
    slash = _line((2.6, 2.6), (4.2, 2.6), (8.6, -2.6))
    theta = _ellipse(10.6, -1.9, 0.55, 0.85)
    bar = Line(((10.05, -1.9), (11.15, -1.9)), "thin")
    return (*_LEADS, _BODY, slash, Line(tuple(theta), "thin", closed=True), bar)


def _ellipse(x: float, y: float, rx: float, ry: float) -> list[Point]:
    turns = [2 * math.pi * k / 16 for k in range(16)]
    return [(round(x + rx * math.cos(t), 3), round(y + ry * math.sin(t), 3)) for t in turns]


_TWO_ENDS: Final[Mapping[str, Callable[[Element], tuple[Shape, ...]]]] = {
    "battery": _battery,
    "resistor": _resistor,
    "fuse": _fuse,
    "lamp": _lamp,
    "wire": _wire,
    "switch": _switch,
    "diode": _diode,
    "capacitor": _capacitor,
    "thermistor": _thermistor,
}


def symbol_of(element: Element, sides: Mapping[str, Side]) -> Symbol:
    """The symbol with each pin on its side; `sides` is by pin."""
    if element.KIND in _TWO_ENDS:
        return _two_ends(element, sides)
    if isinstance(element, Potentiometer):
        return _potentiometer(element, sides)
    if isinstance(element, Relay):
        return _relay(element, sides)
    if isinstance(element, Winding3):
        return _winding(element)
    return _box(element, sides)


def _two_ends(element: Element, sides: Mapping[str, Side]) -> Symbol:
    shapes = _TWO_ENDS[element.KIND](element)
    left = "minus" if element.KIND == "battery" else element.PINS[0]
    if sides[left] == "R":
        shapes = tuple(one.mirrored(12) for one in shapes)
    pins = tuple(Pin(name, element.pins[name], sides[name]) for name in element.PINS)
    more, words, wide = _plugs(element)
    moved = tuple(one.moved(wide, 0) for one in shapes)
    return Symbol(12 + wide, 2.9, 2.9, pins, (*more, *moved), words)


def _plugs(element: Element) -> tuple[tuple[Shape, ...], tuple[Words, ...], float]:
    """A box with its name for each connector that the wire passes, left of the symbol."""
    shapes: list[Shape] = []
    words: list[Words] = []
    x = 0.0
    for name in element.through[:3]:
        shown = cut(tidy(name), 26 if len(element.through) == 1 else 18, SIZE)
        wide = width_of(shown, SIZE) + 1.4
        shapes += [_line((x, 0), (x + 1, 0)), rectangle(x + 1, -2, x + 1 + wide, 2)]
        words.append(Words(x + 1 + wide / 2, 0.9, shown, anchor="middle"))
        x += 1 + wide
    return tuple(shapes), tuple(words), x


def _potentiometer(element: Potentiometer, sides: Mapping[str, Side]) -> Symbol:
    shapes: list[Shape] = [_BODY, _line((6, PITCH), (6, 1.3))]
    shapes.append(Line(((6, 1.3), (5.2, 3.2), (6.8, 3.2)), closed=True, filled=True))
    for name in ("a", "b"):
        if name in element.pins:
            shapes.append(_LEADS[0] if sides[name] == "L" else _LEADS[1])
    shapes.append(_line((6, PITCH), (0 if sides["wiper"] == "L" else 12, PITCH)))
    names = [name for name in ("a", "b", "wiper") if name in element.pins]
    pins = [Pin(n, element.pins[n], sides[n], 1 if n == "wiper" else 0) for n in names]
    words = (
        Words(0.6, -0.7, "a" if sides.get("a", "L") == "L" else "b"),
        Words(11.4, -0.7, "b" if sides.get("a", "L") == "L" else "a", anchor="end"),
    )
    return Symbol(12, 2.9, 1.0, tuple(pins), tuple(shapes), words)


_RELAY: Final = 26.0


def _relay(element: Relay, sides: Mapping[str, Side]) -> Symbol:
    """Contact above, coil below, one case: as the thing stands on the bench."""
    both = {"no", "nc"} <= element.pins.keys()
    coil_row = 2 if both else 1
    y = coil_row * PITCH
    pins = [Pin("com", element.pins["com"], sides["com"])]
    contact, words = _contact(element, both, sides)
    for row, name in enumerate(n for n in ("no", "nc") if n in element.pins):
        pins.append(Pin(name, element.pins[name], sides[name], row))
    for name in ("coil+", "coil-"):
        pins.append(Pin(name, element.pins[name], sides[name], coil_row))
        x, anchor = (0.9, "start") if sides[name] == "L" else (_RELAY - 0.9, "end")
        words.append(Words(x, y - 0.8, name.replace("-", "–"), anchor=anchor))  # type: ignore[arg-type]
    coil: list[Shape] = [
        _line((0, y), (9, y)),
        _line((17, y), (_RELAY, y)),
        rectangle(9, y - 2.4, 17, y + 2.4),
        Line(((13, y - 2.4), (13, -1.2 if not both else 1.2)), "thin", dashed=True),
    ]
    case = Line(rectangle(0, -4.0, _RELAY, y + 3.6).points, "thin", closed=True)
    return Symbol(_RELAY, 4.0, 3.6, tuple(pins), (case, *contact, *coil), tuple(words))


def _contact(
    element: Relay, both: bool, sides: Mapping[str, Side]
) -> tuple[list[Shape], list[Words]]:
    pulled = element.pulled is True
    shapes: list[Shape] = [_line((0, 0), (9, 0))]
    names = [name for name in ("no", "nc") if name in element.pins]
    if both:
        shapes += [_line((17, 0), (_RELAY, 0)), Disc(17, 0, 0.6)]
        shapes += [_line((17, 3.4), (21, 3.4), (21, PITCH), (_RELAY, PITCH)), Disc(17, 3.4, 0.6)]
        shapes.append(_line((9, 0), (17.2, 0.7) if pulled else (16.8, 2.8)))
    elif names:
        shut = pulled if names == ["no"] else not pulled
        shapes += [_line((17, 0), (_RELAY, 0)), Disc(17, 0, 0.6)]
        shapes.append(_line((9.4, -0.4), (17.4, -0.7) if shut else (16.4, -2.8)))
    shapes.append(Disc(9, 0, 0.6))
    words = [Words(0.9, -0.8, "com")]
    for row, name in enumerate(names):
        words.append(Words(_RELAY - 0.9, row * PITCH - 0.8, name, anchor="end"))
    if sides["com"] == "R":
        shapes = [one.mirrored(_RELAY) for one in shapes]
        turned = {"start": "end", "end": "start"}
        words = [
            Words(_RELAY - w.x, w.y, w.text, anchor=turned[w.anchor])  # type: ignore[arg-type]
            for w in words
        ]
    return shapes, words


def _coil(a: Point, b: Point) -> Line:
    """Four half circles from a to b, along a row or a column."""
    (x0, y0), (x1, y1) = a, b
    dx, dy = (x1 - x0) / 4, (y1 - y0) / 4
    r = math.hypot(dx, dy) / 2
    ux, uy = dx / (2 * r), dy / (2 * r)
    points: list[Point] = []
    for k in range(4):
        cx, cy = x0 + dx * (k + 0.5), y0 + dy * (k + 0.5)
        for step in range(9):
            along, off = -r * math.cos(math.pi * step / 8), r * math.sin(math.pi * step / 8)
            points.append(
                (round(cx + along * ux + off * uy, 3), round(cy + along * uy - off * ux, 3))
            )
    return Line(tuple(points))


def _winding(element: Winding3) -> Symbol:
    shapes: list[Shape] = []
    words = []
    for row, name in enumerate("uvw"):
        y = row * PITCH
        words.append(Words(0.8, y - 0.8, name))
        if element.delta:
            shapes.append(_line((0, y), (6, y)))
        else:
            shapes += [_line((0, y), (4, y)), _coil((4, y), (14, y)), _line((14, y), (16.5, y))]
    if element.delta:
        shapes += [_coil((6, 0), (6, PITCH)), _coil((6, PITCH), (6, 2 * PITCH))]
        shapes += [_line((6, 0), (13, 0)), _line((6, 2 * PITCH), (13, 2 * PITCH))]
        shapes += [_coil((13, 0), (13, 2 * PITCH)), Disc(6, PITCH, 0.5, filled=True)]
    else:
        shapes += [_line((16.5, 0), (16.5, 2 * PITCH)), Disc(16.5, PITCH, 0.5, filled=True)]
    pins = tuple(Pin(name, element.pins[name], "L", row) for row, name in enumerate("uvw"))
    return Symbol(17, 2.9, 1.6, pins, tuple(shapes), tuple(words))


_BESIDE: Final = {"L": ("plus", "enable", "minus"), "R": ("out", "u", "v", "w", "enable")}


def _box(element: Element, sides: Mapping[str, Side]) -> Symbol:
    """A box with the names of its pins inside."""
    columns: dict[Side, list[str]] = {"L": [], "R": []}
    for side, names in columns.items():
        first = [n for n in _BESIDE[side] if n in sides and sides[n] == side]
        names += first + [n for n in sides if sides[n] == side and n not in first]
    rows = max(len(columns["L"]), len(columns["R"]), 2) - 1
    widest = {s: max((width_of(n, SIZE) for n in names), default=0) for s, names in columns.items()}
    middle = 3.0 if isinstance(element, Module) else 9.0
    wide = max(20.0, widest["L"] + widest["R"] + middle + 2.4)
    shapes: list[Shape] = [rectangle(0, -3.2, wide, rows * PITCH + 3.2)]
    words, pins = [], []
    for side, names in columns.items():
        for k, name in enumerate(names):
            row = rows if name == "minus" and side == "L" else k
            pins.append(Pin(name, element.pins[name], side, row))
            y = row * PITCH + 0.9
            words.append(
                Words(1.2, y, name) if side == "L" else Words(wide - 1.2, y, name, anchor="end")
            )
    if not isinstance(element, Module):
        x, y = widest["L"] + 1.2 + (wide - widest["L"] - widest["R"] - 2.4) / 2, rows * PITCH / 2
        shapes += [_line((x, y + 4.4), (x, y - 4.4)), _line((x - 1.9, y - 1.8), (x + 1.9, y - 1.8))]
        shapes.append(Line(((x - 1.9, y + 1.8), (x + 1.9, y + 1.8), (x, y - 1.8)), closed=True))
    return Symbol(wide, 3.2, 3.2, tuple(pins), tuple(shapes), tuple(words))
