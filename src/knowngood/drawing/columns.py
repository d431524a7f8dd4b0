"""Figures as columns side by side, as SVG text: black and white, readable on a phone and on paper.

The first series is black, the second white with a black line, so that no colour is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from knowngood.drawing.ink import FONTS, lettered, path, rect
from knowngood.drawing.lettering import cut, tidy, width_of, wrapped
from knowngood.drawing.shapes import SIZE, STROKES, Box, Words

WIDTH: Final = 64.0
"""In mm; a phone shows it twice as wide as its lettering would need."""
SHOWN: Final = 1.6  # a file is made larger by this when it is opened by itself
_TALL, _EDGE, _LINE = 26.0, 1.0, 3.4
_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Columns:
    """`values`: for each series one figure a label, None where nothing can be said (no column, a
    dash). At most two series of figures of 0 or more."""

    title: str
    unit: str
    labels: tuple[str, ...]
    series: tuple[tuple[str, tuple[float | None, ...]], ...]

    @property
    def told(self) -> str:
        """The same in words, for who cannot see it."""
        said = []
        for name, values in self.series:
            each = (f"{label} {said_value(value)}" for label, value in
                    zip(self.labels, values, strict=True))  # fmt: skip
            said.append(f"{name}: {', '.join(each)}")
        return tidy(f"{self.title}, {self.unit}. {'; '.join(said)}", 2000)


def said_value(value: float | None) -> str:
    """ "12", "12.5"; "none" for nothing."""
    if value is None:
        return "none"
    return f"{value:.0f}" if abs(value) >= 100 or value == round(value) else f"{value:.1f}"


def draw_columns(plot: Columns) -> str:
    """The picture. ValueError for no label, more than two series, lists of other lengths, or a
    value below 0 or not finite."""
    _check(plot)
    highest = max((v for _, values in plot.series for v in values if v is not None), default=0.0)
    step, top = ticks(highest)
    marks = [k * step for k in range(round(top / step) + 1)]
    left = _EDGE + max(width_of(said_value(m), SIZE) for m in marks) + 1.2
    head = wrapped(f"{tidy(plot.title)}, {tidy(plot.unit)}", WIDTH - 2 * _EDGE, 1.2 * SIZE, 2)
    parts: list[str] = []
    y = _EDGE
    for line in head:
        y += _LINE
        parts.append(lettered(Words(_EDGE, y - 0.7, line, bold=True)))
    for k, (name, _) in enumerate(plot.series):
        y += _LINE
        box = Box(_EDGE, y - 0.7 - 0.78 * SIZE, _EDGE + 2.4, y - 0.7)
        words = cut(tidy(name), WIDTH - 2 * _EDGE - 4, SIZE)
        parts += [rect(box, filled=not k), lettered(Words(_EDGE + 3.4, y - 0.7, words))]
    base = y + _LINE + _TALL
    for mark in marks:
        at = base - _TALL * mark / top
        line_ = path(((left, at), (WIDTH - _EDGE, at)), STROKES["thin" if mark else "normal"])
        parts += [line_, lettered(Words(left - 0.9, at + 0.9, said_value(mark), anchor="end"))]
    pitch = (WIDTH - _EDGE - left) / len(plot.labels)
    parts += _bars(plot, left, pitch, base, top)
    below, foot = _labels(plot.labels, left, pitch, base)
    return "\n".join([*_head(plot, foot + _EDGE), *parts, *below, "</g>", "</svg>", ""])


def ticks(highest: float) -> tuple[float, float]:
    """The step of the scale and its end, the first step at or above `highest`: 2 to 5 steps of
    1, 2, 2.5 or 5 times a power of ten."""
    if highest <= 0:
        return 1.0, 1.0
    power = 10.0 ** math.floor(math.log10(highest / 4))
    step = next(s * power for s in _STEPS if math.ceil(highest / (s * power) - 1e-9) <= 5)
    return step, step * math.ceil(highest / step - 1e-9)


def _check(plot: Columns) -> None:
    if not plot.labels or not 1 <= len(plot.series) <= 2:
        raise ValueError(f"{len(plot.labels)} labels, {len(plot.series)} series; give some, 1 or 2")
    for name, values in plot.series:
        if len(values) != len(plot.labels):
            raise ValueError(f"{name}: {len(values)} values for {len(plot.labels)} labels")
        for value in values:
            if value is not None and not 0 <= value < math.inf:
                raise ValueError(f"{name}: {value}; a column stands for 0 or more")


def _bars(plot: Columns, left: float, pitch: float, base: float, top: float) -> list[str]:
    count = len(plot.series)
    wide = min(0.8 * pitch / count, 9.0)
    parts = []
    said = [said_value(v) for _, values in plot.series for v in values if v is not None]
    most = wide if count > 1 else pitch - 0.4
    room = all(width_of(text, SIZE) <= most for text in said)
    for k, (_, values) in enumerate(plot.series):
        for n, value in enumerate(values):
            x = left + pitch * (n + 0.5) + wide * (k - count / 2)
            if value is None:
                dash = ((x + 0.25 * wide, base - 1.2), (x + 0.75 * wide, base - 1.2))
                parts.append(path(dash, STROKES["normal"]))
                continue
            at = base - _TALL * value / top
            parts.append(rect(Box(x, at, x + wide, base), filled=not k))
            if room:
                words = Words(x + wide / 2, at - 1.1, said_value(value), anchor="middle")
                parts += [_blank(words.box), lettered(words)]
    return parts


def _blank(box: Box) -> str:
    """White under words, so that no line of the scale runs through them."""
    size = f'width="{box.x1 - box.x0:.2f}" height="{box.y1 - box.y0:.2f}"'
    return f'<rect x="{box.x0:.2f}" y="{box.y0:.2f}" {size} fill="white" stroke="none"/>'


def _labels(
    labels: Sequence[str], left: float, pitch: float, base: float
) -> tuple[list[str], float]:
    """Under the columns, as many as do not touch; and where the lowest ends."""
    every = 1
    while every < len(labels) and not _whole(labels[::every], pitch * every - 0.6):
        every += 1
    parts, lowest = [], base + 1.6
    for n in range(0, len(labels), every):
        at = left + pitch * (n + 0.5)
        room = min(pitch * every - 0.6, 2 * (at - _EDGE), 2 * (WIDTH - _EDGE - at))
        for k, line in enumerate(wrapped(tidy(labels[n]), room, SIZE, 2)):
            y = base + 0.4 + _LINE * (k + 1)
            lowest = max(lowest, y + 0.6)
            parts.append(lettered(Words(at, y, line, anchor="middle")))
    return parts, lowest


def _whole(labels: Sequence[str], room: float) -> bool:
    """Whether each fits in two lines of this room."""
    lines = [wrapped(tidy(label), room, SIZE, 2) for label in labels]
    return all(width_of(line, SIZE) <= room and not line.endswith("…") for one in lines
               for line in one)  # fmt: skip


def _head(plot: Columns, height: float) -> list[str]:
    w, h = f"{SHOWN * WIDTH:g}mm", f"{SHOWN * height:g}mm"
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" '
        f'viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label={quoteattr(plot.told)}>',
        f"<title>{escape(tidy(plot.title))}</title>",
        f'<rect x="0" y="0" width="{WIDTH:g}" height="{height:g}" fill="white"/>',
        f'<g font-family="{FONTS}" font-size="{SIZE:g}" fill="none" stroke="black" '
        f'stroke-width="{STROKES["normal"]:g}" stroke-linecap="butt" stroke-linejoin="miter">',
    ]
