"""Seeded random networks against ngspice, the open successor of Berkeley SPICE3.

How it is set, and how its diode is matched: tests/circuit/spice.py.
"""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from knowngood.circuit.laws import VT
from knowngood.circuit.probe import Probe
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


def test_ohms_and_diode_displays_agree_as_well(tmp_path: Path) -> None:
    """The same networks without their batteries, a meter that pushes 1 mA between two nodes: what
    it shows is the volts (diode) or the volts over the amps (ohms) of ngspice, to 1e-10. Where
    displays are compared at 1e-4 (tests/machines/test_wiring_spice.py) it is for the stand-ins of
    the cards there, not for the meter."""
    vt = spice.thermal_volts(tmp_path)
    decks, cells = {}, []
    for seed in SEEDS[:120]:
        circuit = spice.random_circuit(seed)
        dead = tuple(e for e in circuit.elements if e.KIND != "battery")
        circuit = replace(circuit, elements=dead)
        red, black = random.Random(seed).sample(sorted(circuit.nodes), 2)
        probe = Probe("diode" if seed % 2 else "ohms", red, black, open_volts=30.0, lead_ohms=0.2)
        meter = f"Imeter {black} {red} {probe.test_current!r}"
        deck = spice.deck(circuit, vt)
        decks[f"o{seed}"] = deck.replace(spice.OPTIONS, f"{meter}\n{spice.OPTIONS}")
        cells.append((probe, solve(circuit, probe=probe).probe))
    compared = {"ohms": 0, "diode": 0}
    for (probe, ours), seen in zip(cells, spice.run_all(tmp_path, decks), strict=True):
        at = {**seen, "0": 0.0}
        volts = at[probe.red] - at[probe.black] + probe.test_current * probe.lead_ohms
        theirs = volts if probe.read == "diode" else volts / probe.test_current
        if probe.read == "diode" and theirs > 2.0:
            assert ours == "OL"
            continue
        assert ours == pytest.approx(theirs, rel=1e-10, abs=1e-13), (probe, ours)
        compared[probe.read] += 1
    assert min(compared.values()) >= 40
