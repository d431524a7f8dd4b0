"""The wiring of a circuit as SVG text: black on white, one size of lettering, scales by viewBox."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

from knowngood.circuit.circuit import Circuit
from knowngood.drawing.ink import FONTS, circle, lettered, path, rect
from knowngood.drawing.layout import Layout, Placed, Spot, lay_out
from knowngood.drawing.lettering import tidy
from knowngood.drawing.shapes import SIZE, STROKES, Box, Disc, Words
from knowngood.drawing.symbols import R_MARK, R_POINT, Shape


def draw(
    circuit: Circuit,
    *,
    red: str | None = None,
    black: str | None = None,
    highlight: Sequence[str] = (),
    layout: Layout | None = None,
    width_mm: float = 180.0,
    words: Mapping[str, str] | None = None,
    colours: Mapping[str, str] | None = None,
    part: tuple[float, float] | None = None,
    reached: Collection[str] | None = None,
) -> str:
    """The picture from plus on the left to return at the foot.

    `red`, `black`: nodes where the meter's leads go, marked R in a disc and B in a square.
    `highlight`: elements and nodes drawn heavier. `layout`: of an earlier picture of this circuit,
    so that only the marks move; else it is made from `width_mm`, `words`, `colours` and the points
    that are `reached` (see `lay_out`). `part`: only what stands between these heights, see
    `page_parts`. ValueError for a name that is not in the picture.
    """
    plan = layout or lay_out(
        circuit, width_mm=width_mm, words=words, colours=colours, points=reached
    )
    points = {spot.node: spot for spot in plan.spots if not spot.again}
    for name in (red, black):
        if name is not None and name not in points:
            raise ValueError(f"no test point {tidy(name)[:60]!r} in this picture")
    unknown = [n for n in highlight if n not in points and n not in circuit.by_ref]
    if unknown:
        raise ValueError(f"no element or test point {tidy(unknown[0])[:60]!r} in this picture")
    strong = frozenset(highlight)
    parts = [*_head(plan, red, black, part or (0.0, plan.height))]
    for wire in plan.wires:
        weight = STROKES["thick"] if wire.rail or wire.node in strong else STROKES["normal"]
        parts.append(path((wire.a, wire.b), weight))
    parts += [circle(p, 0.65, filled=True) for _, p in plan.dots]
    for one in plan.placed:
        parts += _element(one, one.key in strong)
    parts += [_spot(spot, spot.node in strong) for spot in plan.spots]
    parts += [lettered(one) for one in plan.words]
    if red is not None:
        parts.append(_mark(points[red], "R", other=black == red))
    if black is not None and black != red:
        parts.append(_mark(points[black], "B"))
    return "\n".join([*parts, "</g>", "</svg>", ""])


def page_parts(plan: Layout, most: float) -> list[tuple[float, float]]:
    """The picture in parts of at most ``most`` mm, cut between its rows; a row that is higher
    stays whole."""
    found, top, last = [], 0.0, 0.0
    for at in (*plan.breaks, plan.height):
        if at - top > most and last > top:
            found.append((top, last))
            top = last
        last = at
    return [*found, (top, plan.height)]


def _head(
    plan: Layout, red: str | None, black: str | None, part: tuple[float, float]
) -> list[str]:
    w, top, h = f"{plan.width:g}", f"{part[0]:g}", f"{part[1] - part[0]:g}"
    title = tidy(plan.name) or "Wiring"
    leads = [f"{lead} lead on {tidy(n)}" for lead, n in (("red", red), ("black", black)) if n]
    label = ", ".join([f"Wiring: {title}" if plan.name else title, *leads])
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" '
        f'viewBox="0 {top} {w} {h}" role="img" aria-label={quoteattr(label)}>',
        f"<title>{escape(label)}</title>",
        f'<rect x="0" y="{top}" width="{w}" height="{h}" fill="white"/>',
        f'<g font-family="{FONTS}" font-size="{SIZE:g}" fill="none" stroke="black" '
        f'stroke-width="{STROKES["normal"]:g}" stroke-linecap="round" stroke-linejoin="round">',
    ]


def _shape(one: Shape, strong: bool) -> str:
    if isinstance(one, Disc):
        return circle((one.x, one.y), one.r, filled=one.filled, weight=0.7 if strong else None)
    weight = STROKES[one.weight] + (0.35 if strong else 0.0)
    more = ' fill="black"' if one.filled else ""
    more += ' stroke-dasharray="1 0.8"' if one.dashed else ""
    return path(one.points, weight, ("closed" if one.closed else "") + more)


def _element(one: Placed, strong: bool) -> list[str]:
    name = f" data-element={quoteattr(tidy(one.key))}" if one.kind != "flag" else ""
    parts = [f"<g{name}>"]
    if strong and one.body is not None:
        parts.append(_frame(one.body))
    parts += [_shape(shape, strong) for shape in one.shapes]
    parts += [lettered(words) for words in one.words]
    return [*parts, "</g>"]


def _frame(body: Box) -> str:
    """Four heavy corners around what is meant."""
    arm = 1.8
    corners = []
    for x, dx in ((body.x0, arm), (body.x1, -arm)):
        for y, dy in ((body.y0, arm), (body.y1, -arm)):
            corners.append(path(((x + dx, y), (x, y), (x, y + dy)), STROKES["thick"]))
    return "".join(corners)


def _spot(spot: Spot, strong: bool) -> str:
    x, y = spot.at
    text = lettered(Words(x, y + 0.93, str(spot.number), anchor="middle"), white=strong)
    if spot.plug:
        shape = rect(Box(x - 1.9, y - 1.9, x + 1.9, y + 1.9), filled=strong)
    else:
        shape = circle(spot.at, R_POINT, filled=strong)
    name = quoteattr(tidy(spot.node))
    return f"<g data-node={name}>{shape}{text}</g>"


def _mark(spot: Spot, letter: str, *, other: bool = False) -> str:
    assert spot.mark is not None
    (x, y), (px, py) = spot.mark, spot.at
    step = 1.0 if y > py else -1.0
    lead = path(((px, py + step * R_POINT), (x, y - step * R_MARK)), STROKES["thick"])
    if letter == "R":
        shape = circle(spot.mark, R_MARK, filled=True)
    else:
        shape = rect(Box(x - 2, y - 2, x + 2, y + 2), filled=True)
    text = lettered(Words(x, y + 0.95, letter + ("B" if other else ""), True, "middle"), white=True)
    return f'<g data-lead="{"red" if letter == "R" else "black"}">{lead}{shape}{text}</g>'
