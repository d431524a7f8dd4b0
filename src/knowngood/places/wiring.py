"""The picture of a machine's wiring, the same on the phone and on the bench card."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from knowngood.circuit.circuit import Circuit
from knowngood.drawing.layout import lay_out
from knowngood.drawing.svg import draw
from knowngood.machines.machine import Machine

WIDTH = 180.0
"""Millimetres of paper; the numbers of the points depend on it, so there is one for all."""


@dataclass(frozen=True, slots=True)
class PointPlace:
    """A test point in the picture: its centre, and where the mark of a lead goes. In mm."""

    node: str
    number: int
    words: str
    at: tuple[float, float]
    mark: tuple[float, float]


@dataclass(frozen=True, slots=True)
class WiringPicture:
    """SVG text without marks, its size in mm, and where its points are."""

    svg: str
    width: float
    height: float
    points: tuple[PointPlace, ...]


def wiring_picture(machine: Machine) -> WiringPicture | None:
    """The picture of this machine; None when its file has no wiring."""
    if machine.wires is None:
        return None
    words = tuple(sorted((p.node, p.words) for p in machine.wires.points.values()))
    return _drawn(_Key(machine.wires.circuit, words, machine.words))


@dataclass(frozen=True, eq=False)
class _Key:
    circuit: Circuit
    words: tuple[tuple[str, str], ...]
    name: str

    def __hash__(self) -> int:
        return hash((len(self.circuit.elements), self.words, self.name))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and (self.words, self.name, self.circuit) == (
            other.words, other.name, other.circuit
        )  # fmt: skip


@lru_cache(maxsize=16)
def _drawn(key: _Key) -> WiringPicture:
    words = dict(key.words)
    circuit = replace(key.circuit, name=key.name)
    plan = lay_out(circuit, width_mm=WIDTH, words=words)
    points = tuple(
        PointPlace(s.node, s.number, words.get(s.node, s.node), s.at, s.mark or s.at)
        for s in plan.spots if not s.again
    )  # fmt: skip
    return WiringPicture(draw(circuit, layout=plan), plan.width, plan.height, points)
