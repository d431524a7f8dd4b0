"""Seeded random networks against ngspice, the open successor of Berkeley SPICE3.

How it is set, and how its diode is matched: tests/circuit/spice.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.circuit.laws import VT
from knowngood.circuit.solve import solve
from tests.circuit import spice

pytestmark = pytest.mark.skipif(not spice.installed(), reason=spice.MISSING)

SEEDS = range(240)


def test_node_volts_agree_to_a_nanovolt(tmp_path: Path) -> None:
    vt = spice.thermal_volts(tmp_path)
    assert vt == pytest.approx(VT, rel=1e-5)  # the same 27 degC; k / q of another year
    circuits = [spice.random_circuit(seed) for seed in SEEDS]
    theirs = spice.run_all(tmp_path, {c.name.replace(" ", ""): spice.deck(c, vt) for c in circuits})
    gaps: dict[str, float] = {}
    kinds: dict[str, int] = {}
    for circuit, found in zip(circuits, theirs, strict=True):
        ours = solve(circuit).nodes
        assert None not in ours.values()
        if not found:  # at these tolerances ngspice gives up on 2 of them
            continue
        for node in ours.keys() - {"0"}:
            gaps[f"{circuit.name}, node {node}"] = abs(float(ours[node] or 0.0) - found[node])
        for element in circuit.elements:
            kinds[element.KIND] = kinds.get(element.KIND, 0) + 1
    assert sum(1 for found in theirs if found) >= 230
    assert min(kinds[k] for k in ("diode", "potentiometer", "relay", "bridge", "winding3")) > 50
    worst = max(gaps, key=lambda place: gaps[place])
    assert gaps[worst] < 1e-9, f"{worst}: {gaps[worst]:.2g} V"
