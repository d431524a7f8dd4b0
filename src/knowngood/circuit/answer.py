"""Everything a circuit file asks: healthy, then each fault alone, each with each probe alone."""

from __future__ import annotations

from typing import Any, Final

from knowngood.circuit.batch import table
from knowngood.circuit.circuit import Cell, Circuit, CircuitError
from knowngood.circuit.probe import Shown, shown_json
from knowngood.circuit.solve import Solution, frame_for, solve_cells
from knowngood.circuit.solver import Method

_PATIENT: Final = 3e10
"""Cells times size cubed up to which every cell is solved directly: a few seconds."""


def answer(circuit: Circuit, method: Method | None = None) -> dict[str, Any]:
    """The answer as plain JSON values, in volts, ohms and amps.

    {"healthy": {"nodes", "probes"}, "faults": [{"on", "mode", "nodes", "probes"}]}; a fault that
    leaves the circuit without an answer has empty nodes and probes, and `error`. Without `method`
    large questions are answered by updates (1e-6 V). Raises CircuitError if the healthy circuit
    has no answer.
    """
    faults = [(), *((fault,) for fault in circuit.faults)]
    bare = [Cell(fault) for fault in faults]
    probed = [Cell(fault, probe) for fault in faults for probe in circuit.probes]
    if method is None:
        size = frame_for(circuit, [*bare, *probed[: len(circuit.probes)]]).size
        method = "direct" if (len(bare) + len(probed)) * size**3 < _PATIENT else "update"
    solutions = solve_cells(circuit, bare, method)
    if isinstance(solutions[0], CircuitError):
        raise solutions[0]
    shown = table(circuit, probed, method).shown
    count = len(circuit.probes)
    rows = [shown[i * count : (i + 1) * count] for i in range(len(faults))]
    out: dict[str, Any] = {"healthy": _case(solutions[0], rows[0]), "faults": []}
    for fault, solution, readings in zip(circuit.faults, solutions[1:], rows[1:], strict=True):
        named = {"on": fault.on, "mode": fault.mode}
        if fault.ohms is not None:
            named["ohms"] = fault.ohms  # type: ignore[assignment]
        if fault.to is not None:
            named["to"] = fault.to
        out["faults"].append(named | _case(solution, readings))
    return out


def _case(solution: Solution | CircuitError, shown: tuple[Shown, ...]) -> dict[str, Any]:
    if isinstance(solution, CircuitError):
        return {"nodes": {}, "probes": [], "error": str(solution)}
    return {"nodes": dict(solution.nodes), "probes": [shown_json(s) for s in shown]}
