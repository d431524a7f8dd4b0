"""Lines, discs, boxes and words as SVG text: black and white, all in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.sax.saxutils import escape

from knowngood.drawing.shapes import STROKES, Box, Point, Words

FONTS: Final = "DejaVu Sans, Verdana, Liberation Sans, Arial, Helvetica, sans-serif"


def plain(value: float) -> str:
    return f"{round(value, 2) + 0.0:g}"


def path(points: Sequence[Point], weight: float, more: str = "") -> str:
    d = "M" + " L".join(f"{plain(x)} {plain(y)}" for x, y in points)
    width = "" if weight == STROKES["normal"] else f' stroke-width="{weight:g}"'
    return f'<path d="{d}{" Z" if "closed" in more else ""}"{width}{more.replace("closed", "")}/>'


def circle(at: Point, r: float, *, filled: bool = False, weight: float | None = None) -> str:
    fill = "black" if filled else "white"
    width = f' stroke-width="{weight:g}"' if weight else ""
    return f'<circle cx="{plain(at[0])}" cy="{plain(at[1])}" r="{r:g}" fill="{fill}"{width}/>'


def rect(box: Box, *, filled: bool, weight: float | None = None) -> str:
    fill = "black" if filled else "white"
    width = f' stroke-width="{weight:g}"' if weight else ""
    size = f'width="{plain(box.x1 - box.x0)}" height="{plain(box.y1 - box.y0)}"'
    return f'<rect x="{plain(box.x0)}" y="{plain(box.y0)}" {size} fill="{fill}"{width}/>'


def lettered(one: Words, white: bool = False) -> str:
    anchor = "" if one.anchor == "start" else f' text-anchor="{one.anchor}"'
    bold = ' font-weight="bold"' if one.bold else ""
    fill = "white" if white else "black"
    return (
        f'<text x="{plain(one.x)}" y="{plain(one.y)}"{anchor}{bold} fill="{fill}" stroke="none">'
        f"{escape(one.text)}</text>"
    )
