"""What stands in a column: an element with its words, a wire passing by, or a flag that says in
which row of the picture a wire goes on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from knowngood.circuit.element import Element
from knowngood.drawing.gear import is_gear
from knowngood.drawing.lettering import cut, tidy, width_of, wrapped
from knowngood.drawing.shapes import SIZE, Line, Words
from knowngood.drawing.symbols import PITCH, R_MARK, R_POINT, TO_MARK, Pin, Shape, Side, symbol_of
from knowngood.measure.unit_table import Dimension
from knowngood.measure.units import format_value

LINE = 3.2
"""Distance of lines of words in mm."""
ROOM = 19.5
"""Width in mm that words above a symbol may take where the symbol is narrower."""
MOST_ROOM = 38.0
"""And the most they may take before they are cut."""

_SHOWN: Mapping[str, tuple[tuple[str, Dimension], ...]] = {
    "battery": (("volts", "voltage"),),
    "resistor": (("ohms", "resistance"),),
    "lamp": (("watts", "power"),),
    "fuse": (("rating", "current"),),
    "thermistor": (("ohms", "resistance"),),
    "capacitor": (("farads", "capacitance"),),
    "potentiometer": (("ohms", "resistance"),),
    "relay": (("coil_ohms", "resistance"),),
    "winding3": (("ohms", "resistance"),),
}


@dataclass(frozen=True, slots=True)
class Item:
    """Something in a column. Pins lie on its left or right edge, row 0 at y = 0; `up` and `down`
    are how far it reaches above its first and below its last row. `body` is where the symbol
    itself lies: x from, x to; None for a wire passing by.

    `kind` is the element's, "passing" or "flag"."""

    key: str
    kind: str
    width: float
    up: float
    down: float
    pins: tuple[Pin, ...]
    rows: int
    shapes: tuple[Shape, ...] = ()
    words: tuple[Words, ...] = ()
    body: tuple[float, float, float, float] | None = None


def element_item(
    element: Element, sides: Mapping[str, Side], words: str = "", colour: str = ""
) -> Item:
    """The symbol in the middle, its reference and words above, a wire's colour below. What is the
    shop's is dashed and says so."""
    symbol = symbol_of(element, sides)
    room = max(ROOM, symbol.width)
    title = cut(_title(element), max(MOST_ROOM, room), SIZE, bold=True)
    said_of = tidy(words or element.words)
    room, lines = _lines(said_of, room)
    below = cut(tidy(colour or element.colour), MOST_ROOM, SIZE)
    plugs = "" if symbol.words or not element.through else "via " + ", ".join(element.through)
    if plugs and len(lines) < 2:
        lines += (cut(tidy(plugs), MOST_ROOM, SIZE),)
    widths = [width_of(title, SIZE, True), width_of(below, SIZE)]
    width = max([symbol.width, *widths, *(width_of(one, SIZE) for one in lines)])
    left = (width - symbol.width) / 2
    top = symbol.up + 0.24 * SIZE + 0.6
    said = [
        Words(width / 2, -top - LINE * k, line, anchor="middle")
        for k, line in enumerate(reversed(lines))
    ]
    said.append(Words(width / 2, -top - LINE * len(lines), title, bold=True, anchor="middle"))
    bottom = symbol.rows * PITCH + symbol.down
    down = symbol.down
    if below:
        said.append(Words(width / 2, bottom - 0.2 + 0.78 * SIZE, below, anchor="middle"))
        down += 0.8 * SIZE
    leads = [
        Line(((0, p.row * PITCH), (left, p.row * PITCH)) if p.side == "L" else
             ((left + symbol.width, p.row * PITCH), (width, p.row * PITCH)))
        for p in symbol.pins if left > 0
    ]  # fmt: skip
    shapes = (*leads, *(one.moved(left, 0) for one in symbol.shapes))
    return Item(
        key=element.ref,
        kind=element.KIND,
        width=width,
        up=top + LINE * len(lines) + 0.78 * SIZE,
        down=down,
        pins=symbol.pins,
        rows=symbol.rows,
        shapes=_dashed(shapes) if is_gear(element) else shapes,
        words=(*said, *(one.moved(left, 0) for one in symbol.words)),
        body=(left, -symbol.up, left + symbol.width, bottom),
    )


def _lines(text: str, room: float) -> tuple[float, tuple[str, ...]]:
    """(room taken, lines): two where they hold it, else more, then wider ones, before any is
    cut."""
    for wide, most in ((room, 2), (room, 3), (room + 8, 3), (MOST_ROOM, 4)):
        lines = wrapped(text, wide, SIZE, most)
        if not any(one.endswith("…") for one in lines):
            break
    return wide, lines


def _dashed(shapes: tuple[Shape, ...]) -> tuple[Shape, ...]:
    return tuple(
        replace(s, dashed=True) if isinstance(s, Line) and not s.sign else s for s in shapes
    )


def _title(element: Element) -> str:
    ref = tidy(element.ref)
    if is_gear(element):
        ref = f"shop's {ref}"
    if element.KIND == "switch":
        return f"{ref} {'closed' if getattr(element, 'closed', False) else 'open'}"
    for name, dimension in _SHOWN.get(element.KIND, ()):
        value = getattr(element, name, None)
        if value is not None and math.isfinite(value):
            return f"{ref} {format_value(value, dimension).replace('ohm', 'Ω')}"
    return ref


def passing(node: str, column: int) -> Item:
    """A wire that passes a column."""
    pins = (Pin("", node, "L"), Pin("", node, "R"))
    return Item(f"{node}\n{column}", "passing", 0, 0.6, 0.6, pins, 0)


def flag(node: str, side: Side, text: str, *, mark: bool = False) -> Item:
    """The end of a wire that goes on in another row: its number in a circle, and where.
    `mark`: with room for a probe's."""
    r = R_POINT
    wide = max(width_of(text, SIZE), 2 * r + 3.2)
    x = (wide - r - 0.2) if side == "R" else r + 0.2
    far = x - r - 2.6 if side == "R" else x + r + 2.6
    tip = x - r if side == "R" else far
    back = tip - 1.4
    shapes = (
        Line(((x, 0), (wide if side == "R" else 0, 0))),
        Line(((far, 0), (x, 0))),
        Line(((back, -0.8), (tip, 0), (back, 0.8)), closed=True, filled=True),
    )
    words = (Words(wide / 2, r + 0.5 + 0.78 * SIZE, text, anchor="middle"),)
    pins = (Pin(f"{x:.3f}", node, side),)
    return Item(
        f"{node}\n{side}\n{text}",
        "flag",
        wide,
        TO_MARK + R_MARK + 0.2 if mark else r + 0.2,
        r + SIZE + 0.9,
        pins,
        0,
        shapes,
        words,
    )
