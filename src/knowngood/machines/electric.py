"""The electrical side of a machine file: spreads, points, faults in the wiring, probes. Pure data.

Numbers are in base units. A span is a `Piece`: between, log (log scale) or around (mean, one
standard deviation).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.element import State
from knowngood.circuit.probe import Read
from knowngood.isolate.forecast import Piece

Write = Literal["", "highest", "lowest", "spread"]


@dataclass(frozen=True, slots=True)
class Point:
    """A node that a probe can reach with the steps `open` open and those in `closed` not.

    `common`: battery minus, chassis and the like, against which nodes are measured.
    """

    node: str
    words: str
    open: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    common: bool = False


@dataclass(frozen=True, slots=True)
class Change:
    """What a fault is in the wiring: a circuit fault (`on`, `mode`, `ohms`, `to`), or another span
    for a value (`value` "REF.field", `span`).

    `share` None: always there; else one of the changes with a share is there, or none. `unsteady`:
    share of readings that jump between this and good. `when` and `unless`: conditions or
    circumstances.
    """

    on: str = ""
    mode: str = ""
    ohms: Piece | None = None
    to: str | None = None
    value: str = ""
    span: Piece | None = None
    share: float | None = None
    unsteady: float = 0.0
    when: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()

    def acts(self, condition: str, circumstance: str) -> bool:
        """Whether it is there in this condition."""
        here = {condition, circumstance}
        return (not self.when or not here.isdisjoint(self.when)) and here.isdisjoint(self.unless)


@dataclass(frozen=True, slots=True)
class Probing:
    """Where a test puts the meter. Several `pairs` (red, black): the person writes the highest or
    the lowest, or all of them, whose spread is judged. `through`: amps of this element, by a
    clamp."""

    read: Read
    pairs: tuple[tuple[str, str], ...] = ()
    through: str = ""
    write: Write = ""


@dataclass(frozen=True, slots=True)
class Wires:
    """The wiring of a machine. `states`: how it stands when nothing else is said. `spreads`: what
    varies between good machines, by "REF.field"."""

    circuit: Circuit
    states: Mapping[str, State] = field(default_factory=dict)
    spreads: Mapping[str, Piece] = field(default_factory=dict)
    points: Mapping[str, Point] = field(default_factory=dict)
    source: str = ""
