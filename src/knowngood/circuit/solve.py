"""One circuit, whole: volts at every node, amps in every path, and what a meter would show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from knowngood.circuit.circuit import Cell, Circuit, CircuitError, standing, wrong_cell
from knowngood.circuit.element import State
from knowngood.circuit.faulted import Fault, is_curved
from knowngood.circuit.frame import Frame, frame, lay, leak_of
from knowngood.circuit.meter import take
from knowngood.circuit.probe import Probe, Shown
from knowngood.circuit.settle import Engine, Settled, settle
from knowngood.circuit.solver import Method

NONE: Mapping[str, State] = {}


@dataclass(frozen=True, slots=True)
class Solution:
    """`nodes`: volts against ground without a meter, None where nothing ties a node to it.

    `currents`: amps by "REF" or "REF.branch", from the first pin to the second, out of the plus
    pole of a battery; None in a loop without ohms, where they are undecided. `on`: relays pulled
    and modules alive. `probe`: the reading, if one was asked for.
    """

    nodes: Mapping[str, float | None]
    currents: Mapping[str, float | None]
    on: Mapping[str, bool] = field(default_factory=dict)
    probe: Shown | None = None


def solve(
    circuit: Circuit,
    faults: Iterable[Fault] = (),
    probe: Probe | None = None,
    states: Mapping[str, State] | None = None,
    values: Mapping[str, float] | None = None,
) -> Solution:
    """Solve with all these faults present at once, directly (1e-9 V). `states` and `values` as in
    `Cell`. A probe that cannot be taken is a `NoReading` in the answer.

    Raises CircuitError: contradictory ideal sources, no convergence, no or several consistent
    states; and for a fault, state, value or probe that this circuit does not have.
    """
    cell = Cell(tuple(faults), probe, states or NONE, values or {})
    (answer,) = solve_cells(circuit, [cell])
    if isinstance(answer, CircuitError):
        raise answer
    return answer


def solve_cells(
    circuit: Circuit, cells: Sequence[Cell], method: Method = "direct"
) -> list[Solution | CircuitError]:
    """Whole solutions of many cells, in their order. Raises CircuitError ("asked") for a cell that
    the circuit does not have."""
    check(circuit, cells)
    out: list[Solution | CircuitError] = [CircuitError("asked", "not solved")] * len(cells)
    for variant, which in variants(circuit, cells):
        part = [cells[i] for i in which]
        engine = Engine(frame_for(variant, part), method)
        laid = lay(engine.frame, part)
        seen = settle(engine, laid, np.arange(engine.frame.size))
        readings = [n for n, c in enumerate(part) if c.probe is not None and n not in seen.wrong]
        probes = [p for n in readings if (p := part[n].probe) is not None]
        shown = dict(zip(readings, _taken(engine, part, readings, probes), strict=True))
        for n, i in enumerate(which):
            out[i] = seen.wrong.get(n) or _solution(engine.frame, seen, n, shown.get(n))
    return out


def _taken(
    engine: Engine, part: list[Cell], readings: list[int], probes: list[Probe]
) -> list[Shown]:
    if not readings:
        return []
    return take(engine, lay(engine.frame, [part[n] for n in readings]), probes)


def _solution(frame: Frame, seen: Settled, n: int, shown: Shown | None) -> Solution:
    count = len(frame.branches)
    ground = frame.nodes.index(frame.circuit.ground)
    zero = seen.labels[n, ground]
    nodes = {
        name: (0.0 if i == ground else float(seen.volts[n, count + i]))
        if seen.labels[n, i] == zero else None
        for i, name in enumerate(frame.nodes[: len(frame.circuit.nodes)])
    }
    loose = seen.loose.get(n, set())
    currents = {
        label: None if k in loose else float(seen.amps[n, k]) + 0.0
        for k, label in enumerate(frame.labels)
        if label
    }
    on = {name: bool(state) for name, state in zip(frame.owners, seen.on[n], strict=True)}
    return Solution(nodes, currents, on, shown)


def check(circuit: Circuit, cells: Sequence[Cell]) -> None:
    """Raises CircuitError ("asked") naming the first thing that the circuit does not have."""
    seen: set[Probe | None] = {None}
    for cell in cells:
        known = cell.probe in seen
        if bad := wrong_cell(circuit, replace(cell, probe=None) if known else cell):
            raise CircuitError("asked", bad)
        seen.add(cell.probe)


def frame_for(circuit: Circuit, cells: Sequence[Cell]) -> Frame:
    """A frame with room for the leaks and meters of these cells."""
    faults = {fault for cell in cells for fault in cell.faults if fault.mode == "leak"}
    leaks = sorted(leak for fault in faults if (leak := leak_of(circuit, fault)))
    probes = [c.probe for c in cells if c.probe is not None and not c.probe.through]
    return frame(circuit, leaks, dict.fromkeys((p.red, p.black) for p in probes))


def variants(circuit: Circuit, cells: Sequence[Cell]) -> list[tuple[Circuit, list[int]]]:
    """Cells by the values of their diodes and lamps, which belong to the circuit's curves."""
    if not any(cell.values for cell in cells):
        return [(circuit, list(range(len(cells))))]
    curved = {e.ref for e in circuit.elements if any(is_curved(b.law) for b in e.branches())}
    groups: dict[frozenset[tuple[str, float]], list[int]] = {}
    for i, cell in enumerate(cells):
        own = frozenset(kv for kv in cell.values.items() if kv[0].rpartition(".")[0] in curved)
        groups.setdefault(own, []).append(i)
    out = []
    for own, which in groups.items():
        new = {e.ref: e for e in standing(circuit, Cell(values=dict(own)))} if own else {}
        elements = tuple(new.get(e.ref, e) for e in circuit.elements)
        out.append((replace(circuit, elements=elements) if new else circuit, which))
    return out
