"""What a picture is made of: lines, discs and words, all in millimetres, y downwards."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

from knowngood.drawing.lettering import width_of

Weight = Literal["thin", "normal", "thick"]
Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]

STROKES: Final[dict[Weight, float]] = {"thin": 0.18, "normal": 0.35, "thick": 0.8}
SIZE: Final = 2.6
"""Height of all lettering in mm, one size throughout."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle from (x0, y0), top left, to (x1, y1)."""

    x0: float
    y0: float
    x1: float
    y1: float

    def moved(self, dx: float, dy: float) -> Box:
        return Box(self.x0 + dx, self.y0 + dy, self.x1 + dx, self.y1 + dy)

    def overlaps(self, other: Box, by: float = 0.0) -> bool:
        """Whether they share more than a strip `by` mm wide."""
        return (
            self.x0 + by < other.x1
            and other.x0 + by < self.x1
            and self.y0 + by < other.y1
            and other.y0 + by < self.y1
        )


@dataclass(frozen=True, slots=True)
class Line:
    """A line through `points`; `closed` joins the ends, `filled` makes it black inside; a `sign`
    (a plus) stays whole where its symbol is dashed."""

    points: tuple[Point, ...]
    weight: Weight = "normal"
    closed: bool = False
    filled: bool = False
    dashed: bool = False
    sign: bool = False

    def moved(self, dx: float, dy: float) -> Line:
        return replace(self, points=tuple((x + dx, y + dy) for x, y in self.points))

    def mirrored(self, width: float) -> Line:
        return replace(self, points=tuple((width - x, y) for x, y in self.points))


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle, white inside unless `filled`."""

    x: float
    y: float
    r: float
    filled: bool = False

    def moved(self, dx: float, dy: float) -> Disc:
        return replace(self, x=self.x + dx, y=self.y + dy)

    def mirrored(self, width: float) -> Disc:
        return replace(self, x=width - self.x)


@dataclass(frozen=True, slots=True)
class Words:
    """One line of lettering; (x, y) is the anchor on the base line."""

    x: float
    y: float
    text: str
    bold: bool = False
    anchor: Anchor = "start"

    @property
    def box(self) -> Box:
        """What the letters cover, a little generously."""
        w = width_of(self.text, SIZE, self.bold)
        left = {"start": self.x, "middle": self.x - w / 2, "end": self.x - w}[self.anchor]
        return Box(left, self.y - 0.78 * SIZE, left + w, self.y + 0.24 * SIZE)

    def moved(self, dx: float, dy: float) -> Words:
        return replace(self, x=self.x + dx, y=self.y + dy)


def rectangle(x0: float, y0: float, x1: float, y1: float, weight: Weight = "normal") -> Line:
    return Line(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), weight, closed=True)
