"""Many cells at once: as updates of one inverse, against direct solves."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import numpy as np
import pytest

from knowngood.circuit.batch import CLIMBING, NO_READING, OVER, VALUE, table
from knowngood.circuit.circuit import Cell, Circuit, CircuitError
from knowngood.circuit.element import Capacitor, State
from knowngood.circuit.faulted import Fault
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.probe import Climbing, NoReading, Probe, Read
from knowngood.circuit.solve import solve, solve_cells
from tests.circuit import spice

MOWER = """
# Walk-behind mower, key and bail in the chain, a controller with its bridge and motor.
# Invented for the demo.
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 58 V, ohms: 80 mohm}
  - {ref: F1, kind: fuse, pins: {a: B+, b: fused}, ohms: 3 mohm, rating: 40 A}
  - {ref: K, kind: switch, pins: {a: fused, b: keyed}, ohms: 20 mohm, closed: true}
  - {ref: W1, kind: wire, pins: {a: keyed, b: bail.in}, awg: 18, length: 1.2 m, through: J1}
  - {ref: S1, kind: switch, pins: {a: bail.in, b: start}, ohms: 20 mohm, closed: true}
  - {ref: W2, kind: wire, pins: {a: start, b: enable}, awg: 18, length: 1.2 m, through: J1}
  - ref: U1
    kind: module
    pins: {plus: fused, minus: B-, enable: enable, out: 5V}
    alive_above: 36 V
    enable_above: 20 V
    amps: 30 mA
    enable_ohms: 47 kohm
    out_volts: 5 V
    out_ohms: 1 ohm
  - {ref: C1, kind: capacitor, pins: {a: fused, b: B-}, farads: 1000 uF}
  - {ref: Q, kind: bridge, pins: {plus: fused, minus: B-, u: u, v: v, w: w}}
  - {ref: M1, kind: winding3, pins: {u: mu, v: mv, w: mw}, ohms: 60 mohm}
  - {ref: Wu, kind: wire, pins: {a: u, b: mu}, ohms: 5 mohm, through: J2}
  - {ref: Wv, kind: wire, pins: {a: v, b: mv}, ohms: 5 mohm, through: J2}
  - {ref: Ww, kind: wire, pins: {a: w, b: mw}, ohms: 5 mohm, through: J2}
  - {ref: P1, kind: potentiometer, pins: {a: 5V, wiper: speed, b: B-}, ohms: 10 kohm, position: 0.3}
  - {ref: L1, kind: lamp, pins: {a: keyed, b: B-}, volts: 60 V, watts: 3 W}
"""
OUT = {"BT1": False}
VOLTS = [
    Probe("volts", a, "B-", lead_ohms=0.2) for a in ("fused", "keyed", "enable", "5V", "speed")
]
DEAD = [
    Probe("ohms", "B+", "enable", lead_ohms=0.2),
    Probe("ohms", "mu", "mv"),
    Probe("diode", "u", "fused"),
    Probe("diode", "fused", "u"),
    Probe("diode", "fused", "B-"),
    Probe("diode", "B-", "fused"),
    Probe("ohms", "mu", "B-"),
]
FAULTS = [
    (),
    (Fault("F1", "open"),),
    (Fault("K", "high resistance", 400.0),),
    (Fault("S1", "stuck open"),),
    (Fault("Q.u+", "short"),),
    (Fault("Q.u+", "short"), Fault("F1", "open")),
    (Fault("M1.v", "open"),),
    (Fault("W1", "leak", 1000.0, "B-"),),
    (Fault("C1", "short"),),
    (Fault("U1", "open"),),
]


def mower() -> Circuit:
    circuit, problems = parse_circuit(MOWER)
    assert circuit is not None, [str(p) for p in problems]
    return circuit


def grid() -> list[Cell]:
    live = itertools.product(FAULTS, VOLTS, [{}, {"K": False}], [{}, {"BT1.volts": 42.0}])
    dead = itertools.product(FAULTS, DEAD, [OUT, OUT | {"J2": False}], [{}, {"K.ohms": 0.05}])
    return [Cell(f, p, s, v) for f, p, s, v in (*live, *dead)]


def test_a_grid_of_a_mower_as_updates() -> None:
    cells = grid()
    direct, update = table(mower(), cells, "direct"), table(mower(), cells)
    assert direct.kinds.tolist() == update.kinds.tolist()
    assert set(direct.kinds.tolist()) == {VALUE, OVER, CLIMBING}
    value = direct.kinds == VALUE
    volts = np.array([c.probe is not None and c.probe.read in ("volts", "diode") for c in cells])
    for kind, near in ((value & volts, 0.0), (value & ~volts, 1e-6)):
        one, two = direct.values[kind], update.values[kind]
        assert len(one) > 50 and np.allclose(one, two, rtol=near, atol=1e-6)
    for one, two in zip(direct.shown, update.shown, strict=True):
        if isinstance(one, Climbing) and isinstance(two, Climbing):
            assert two.per_second == pytest.approx(one.per_second, rel=1e-4)


def test_a_table_is_what_solve_gives_one_by_one() -> None:
    cells = grid()[::17]
    shown = table(mower(), cells, "direct").shown
    for cell, reading in zip(cells, shown, strict=True):
        alone = solve(mower(), cell.faults, cell.probe, cell.states, cell.values).probe
        if isinstance(reading, float):
            assert alone == pytest.approx(reading, abs=1e-9)
        else:
            assert type(alone) is type(reading)


def test_values_of_a_diode_and_a_lamp_can_vary() -> None:
    probe = Probe("diode", "u", "fused")
    apart = OUT | {"J2": False}
    cells = [Cell((), probe, apart, {"Q.drop": drop}) for drop in (0.4, 0.5, 0.6)]
    assert table(mower(), cells).values == pytest.approx([0.4, 0.5, 0.6], abs=1e-5)
    bright = [
        Cell((), Probe("amps", through="L1"), {}, {"L1.watts": watts}) for watts in (3.0, 6.0)
    ]
    one, two = table(mower(), bright).values
    assert two == pytest.approx(2 * one, rel=1e-2)


def test_a_cell_without_an_answer_does_not_stop_the_others() -> None:
    across = Probe("ohms", "fused", "B-")
    off = OUT | {"K": False}  # else the cold lamp holds it at 0.1 V
    cells = [Cell((), across), Cell((), across, off), Cell((), VOLTS[0])]
    got = table(mower(), cells)
    assert got.kinds.tolist() == [NO_READING, CLIMBING, VALUE]
    assert isinstance(got.shown[0], NoReading) and "live source" in got.shown[0].message
    assert np.isnan(got.values[0]) and got.values[2] == pytest.approx(58, abs=0.1)


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        (Cell((Fault("K9", "open"),), VOLTS[0]), "no element 'K9'"),
        (Cell((Fault("K", "melted"),), VOLTS[0]), "cannot be 'melted'. It can be: open"),
        (Cell((), Probe("volts", "fuse", "B-")), "Did you mean 'fused'"),
        (Cell((), VOLTS[0], {"J9": False}), "no element or connector 'J9'"),
        (Cell((), VOLTS[0], {}, {"BT1.volt": 3.0}), "Did you mean 'BT1.volts'"),
        (Cell((), VOLTS[0], {}, {"BT1.ohms": -3.0}), "must be 0 to"),
        (Cell(()), "Give each cell a probe"),
    ],
)
def test_a_cell_that_the_circuit_does_not_have(cell: Cell, words: str) -> None:
    with pytest.raises(CircuitError) as bad:
        table(mower(), [cell])
    assert bad.value.kind == "asked" and words in str(bad.value)


def test_updates_agree_with_direct_solves() -> None:
    """The same networks, in the other state of every relay and switch, as updates."""
    for seed in range(60):
        circuit = spice.random_circuit(seed)
        turned = [e.ref for e in circuit.elements if e.KIND in ("relay", "switch")]
        cells = [Cell(), *(Cell(states={ref: state}) for ref in turned for state in (True, False))]
        direct, update = solve_cells(circuit, cells), solve_cells(circuit, cells, "update")
        for one, two in zip(direct, update, strict=True):
            assert not isinstance(one, CircuitError) and not isinstance(two, CircuitError)
            volts = [[v for v in s.nodes.values() if v is not None] for s in (one, two)]
            assert np.allclose(volts[0], volts[1], rtol=0, atol=1e-6)


def _random_cells(circuit: Circuit, seed: int, count: int) -> list[Cell]:
    """Up to two faults of any mode, states and a meter, wherever chance puts them."""
    rng = random.Random(seed)
    cells = []
    for _ in range(count):
        faults = []
        for _ in range(rng.randint(0, 2)):
            element = rng.choice(circuit.elements)
            mode = rng.choice(element.MODES)
            names = [b.name for b in element.branches()]
            whole = len(names) == 1 or mode.startswith("stuck") or mode == "leak"
            on = element.ref if whole else f"{element.ref}.{rng.choice(names)}"
            ohms = rng.choice([0.5, 100.0, 1e4]) if mode in ("high resistance", "leak") else None
            faults.append(
                Fault(on, mode, ohms, rng.choice(circuit.nodes) if mode == "leak" else None)
            )
        read: Read = rng.choice(["volts", "ohms", "diode", "volts"])
        states: dict[str, State] = {}
        for element in circuit.elements:
            if element.KIND == "battery" and read != "volts":
                states[element.ref] = False
            elif element.KIND in ("switch", "relay") and rng.random() < 0.5:
                states[element.ref] = rng.random() < 0.5
            elif rng.random() < 0.1:
                states[element.ref] = False
        red, black = rng.sample(circuit.nodes, 2)
        cells.append(Cell(tuple(faults), Probe(read, red, black, lead_ohms=0.2), states))
    return cells


def test_any_fault_state_and_meter_as_updates() -> None:
    """1200 readings of 40 networks, each with an empty capacitor somewhere."""
    kinds: set[int] = set()
    for seed in range(40):
        circuit = spice.random_circuit(seed)
        a, b = random.Random(seed).sample(circuit.nodes, 2)
        filling = Capacitor(ref="C1", pins={"a": a, "b": b}, farads=1e-3)
        circuit = replace(circuit, elements=(*circuit.elements, filling))
        cells = _random_cells(circuit, seed, 30)
        direct, update = table(circuit, cells, "direct"), table(circuit, cells)
        assert direct.kinds.tolist() == update.kinds.tolist(), circuit.name
        assert NO_READING not in direct.kinds
        value = direct.kinds == VALUE
        ohms = np.array([cell.probe is not None and cell.probe.read == "ohms" for cell in cells])
        miss = np.abs(direct.values - update.values)
        assert miss[value & ~ohms].max(initial=0.0) <= 1e-6, circuit.name  # volts
        assert (miss <= 1e-6 + 1e-6 * np.abs(direct.values))[value & ohms].all(), circuit.name
        kinds |= set(direct.kinds.tolist())
    assert kinds == {VALUE, OVER, CLIMBING}


def test_a_dead_circuit_is_exactly_dead() -> None:
    """Also as updates of a live one, and where a node hangs on the leak of a diode alone."""
    found = mower()
    probes = [Probe("volts", a, b) for a, b in itertools.permutations(found.nodes[:8], 2)]
    assert set(table(found, [Cell((), p, OUT) for p in probes]).values.tolist()) == {0.0}


def test_a_value_of_a_rule_counts_in_its_cell() -> None:
    """A relay that pulls at 9 V on 12 V, and one that needs 13 V: each cell has its own limit."""
    circuit, problems = parse_circuit("""
ground: G
elements:
  - {ref: B1, kind: battery, pins: {plus: P, minus: G}, volts: 12 V, ohms: 0.1 ohm}
  - {ref: K1, kind: relay, pins: {coil+: P, coil-: G, com: P, no: L}, coil_ohms: 100 ohm, pull_in: 9 V, ohms: 10 mohm}
  - {ref: R1, kind: resistor, pins: {a: L, b: G}, ohms: 10 ohm}
  - {ref: M1, kind: module, pins: {plus: P, minus: G, out: V5}, alive_above: 6 V, out_volts: 5 V}
""")  # noqa: E501
    assert circuit is not None, problems
    probes = [Probe("volts", "L", "G"), Probe("volts", "V5", "G")]
    cells = [Cell(probe=p, values=v) for p in probes
             for v in ({}, {"K1.pull_in": 13.0}, {"M1.alive_above": 14.0})]  # fmt: skip
    got = table(circuit, cells).values
    assert got[0] > 11 and got[1] == pytest.approx(0, abs=1e-9) and got[2] > 11
    assert got[3] == pytest.approx(5) == got[4] and got[5] == pytest.approx(0, abs=1e-9)
    again = [solve(circuit, probe=c.probe, values=c.values).probe for c in cells]
    assert list(got) == pytest.approx(again, abs=1e-6)
