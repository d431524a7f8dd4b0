"""A capacitor whose value nobody wrote down."""

from __future__ import annotations

import pytest

from knowngood.circuit.faulted import Fault
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.probe import NoReading, Probe
from knowngood.circuit.solve import solve

PACK = """\
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}
"""


def test_a_capacitor_without_a_value_is_open_at_rest_and_no_display_is_made_up() -> None:
    found, problems = parse_circuit(
        PACK + "  - {ref: R, kind: resistor, pins: {a: B+, b: x}, ohms: 1 kohm}\n"
        "  - {ref: C, kind: capacitor, pins: {a: x, b: B-}}\n"
        "  - {ref: Q, kind: resistor, pins: {a: y, b: z}, ohms: 47 ohm}\n"
    )
    assert found is not None, problems
    assert solve(found).nodes["x"] == pytest.approx(20.0, abs=1e-9)
    out = [Fault("BT1", "open")]
    over = solve(found, out, Probe("ohms", "x", "B-")).probe
    assert isinstance(over, NoReading) and "farads" in over.message
    assert solve(found, out, Probe("ohms", "y", "z")).probe == pytest.approx(47.0)
