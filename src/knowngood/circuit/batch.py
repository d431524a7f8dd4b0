"""Many readings of one circuit at a time: faults by conditions by probes by nuisances."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from knowngood.circuit.circuit import Cell, Circuit, CircuitError
from knowngood.circuit.frame import lay
from knowngood.circuit.laws import Floats
from knowngood.circuit.meter import take
from knowngood.circuit.probe import Climbing, NoReading, Shown
from knowngood.circuit.settle import Engine
from knowngood.circuit.solve import check, frame_for, variants
from knowngood.circuit.solver import Method

VALUE, OVER, CLIMBING, NO_READING = range(4)


@dataclass(frozen=True, slots=True)
class Table:
    """What the meters of the cells show, in their order.

    `values` (cells,): the reading in base units, inf for over range, the start of a climbing one,
    nan where there is no reading. `kinds` (cells,): VALUE, OVER, CLIMBING or NO_READING.
    """

    shown: tuple[Shown, ...]
    values: Floats
    kinds: NDArray[np.int8]


def table(circuit: Circuit, cells: Sequence[Cell], method: Method = "update") -> Table:
    """Readings of all cells; each must have a probe.

    "update" changes a few rows of one inverse (within 1e-6 V of "direct", about 1e-10 V usually);
    "direct" solves each cell's whole matrix. Raises CircuitError ("asked") for a cell that the
    circuit does not have; all else that goes wrong is a `NoReading` of that cell.
    """
    check(circuit, cells)
    if any(cell.probe is None for cell in cells):
        raise CircuitError("asked", "a cell without a probe. Give each cell a probe")
    shown: list[Shown] = [NoReading("not taken")] * len(cells)
    for variant, which in variants(circuit, cells):
        part = [cells[i] for i in which]
        engine = Engine(frame_for(variant, part), method)
        probes = [c.probe for c in part if c.probe is not None]
        for i, value in zip(which, take(engine, lay(engine.frame, part), probes), strict=True):
            shown[i] = value
    pairs = list(_columns(shown))
    values = np.array([value for value, _ in pairs], dtype=np.float64)
    return Table(tuple(shown), values, np.array([kind for _, kind in pairs], dtype=np.int8))


def _columns(shown: Sequence[Shown]) -> Iterator[tuple[float, int]]:
    for value in shown:
        if isinstance(value, NoReading):
            yield float("nan"), NO_READING
        elif isinstance(value, Climbing):
            yield value.start, CLIMBING
        elif value == "OL":
            yield float("inf"), OVER
        else:
            yield float(value), VALUE
