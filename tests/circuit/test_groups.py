"""More relays than all states are tried of: settled group by group."""

from __future__ import annotations

import pytest

from knowngood.circuit.circuit import Circuit, CircuitError
from knowngood.circuit.faulted import Fault
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.solve import solve

PACK = "  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}\n"


def circuit(elements: str) -> Circuit:
    found, problems = parse_circuit(f"ground: B-\nelements:\n{elements}")
    assert found is not None, [str(p) for p in problems]
    return found


def refusal(found: Circuit) -> CircuitError:
    with pytest.raises(CircuitError) as caught:
        solve(found)
    return caught.value


def latch(count: int, others: int = 20) -> str:
    """``others`` relays on the pack, and ``count`` that lock each other out in a ring: the coil of
    each hangs on the normally closed contact of the one before."""
    text = PACK
    for i in range(others):
        text += f"  - {{ref: K{i}, kind: relay, pins: {{coil+: B+, coil-: B-, com: B+, no: m{i}}}"
        text += ", coil_ohms: 200 ohm, pull_in: 12 V}\n"
    for i in range(count):
        text += f"  - {{ref: L{i}, kind: relay, pins: {{coil+: q{i}, coil-: B-, com: B+, "
        text += f"nc: q{(i + 1) % count}}}, coil_ohms: 200 ohm, pull_in: 12 V}}\n"
    return text


def test_a_latch_beside_twenty_relays() -> None:
    """Of two that lock each other out either can be on (any textbook of relay logic)."""
    error = refusal(circuit(latch(2)))
    assert error.kind == "states"
    assert "2 consistent states: L0, L1 can be on or off" in str(error)
    for first in (True, False):
        found = solve(circuit(latch(2)), states={"L0": first, "L1": not first}).on
        assert found == {**{f"K{i}": True for i in range(20)}, "L0": first, "L1": not first}


def test_a_held_latch_leaves_one_state() -> None:
    """A broken coil in one of the two: the other one is on, and it is found among 22."""
    on = solve(circuit(latch(2)), [Fault("L0.coil", "open")]).on
    assert (on["L0"], on["L1"]) == (False, True)


def test_an_odd_ring_has_none_and_a_large_one_is_not_tried() -> None:
    assert "no consistent state: L0, L1, L2 switches" in str(refusal(circuit(latch(3))))
    said = str(refusal(circuit(latch(13, 2))))
    assert "13 relays and modules hang on each other (L0, " in said and "say which are on" in said
