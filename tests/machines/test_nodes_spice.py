"""Every node of every shipped circuit against ngspice, to a nanovolt.

Direct solves in every condition of a machine, healthy and with seeded ways of its faults, bare and
with a voltmeter of 10 Mohm in place. ngspice is set to `reltol=1e-12 abstol=1e-18 vntol=1e-14
gmin=1e-12`, `set numdgt=15`; how its cards keep their digits is told in `spice_exact`. Relays,
modules and lamps stand as our solver found them, and must agree with the volts of ngspice.

A relay or module that switches itself off and on again has no state and no volts: such cells, two
in a hundred at most, are left out. Two kinds of nodes are not compared at 1e-9 V as they stand:
- on a floating island volts against ground mean nothing: ours must say None there, and nowhere
  else, by the islands found in the cards;
- an island that only the meter ties to ground hangs on 10 Mohm, and ngspice stops at a share
  (reltol) of the amps that go round in it: 1e-12 of 10 A in 10 Mohm is 1e-4 V. These cells are
  compared at 1e-4 V as they stand. At 1e-9 V ngspice solves them without the meter, and the island
  is moved so that both leads have the same volts, since nothing can flow through the only path
  between two islands.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from knowngood.circuit.circuit import CircuitError
from knowngood.circuit.device import Resistor
from knowngood.circuit.faulted import Fault
from knowngood.circuit.probe import Probe
from knowngood.circuit.solve import Solution, solve
from knowngood.machines.design import POINTS
from knowngood.machines.machine import Machine
from knowngood.machines.wiring import Wiring, ways_of
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.library import find_machine
from tests.circuit.spice import MISSING, installed, run_all, thermal_volts
from tests.families import each
from tests.machines.spice_exact import Exact
from tests.machines.test_wiring_spice import NAMES, PLAIN, Drawn, network_of

EACH = 5  # ways of faults in each condition
AS_PROMISED, HANGING = 1e-9, 1e-4  # volts


@dataclass(frozen=True)
class Solved:
    """A cell solved by us: with its cards, the ohms of its lamps and its islands; `leads`: (in
    the air, grounded), where the meter is left out between two islands."""

    where: tuple[object, ...]
    net: Exact
    ours: Solution
    cards: str
    lamps: dict[str, float]
    island: dict[str, str]
    within: float
    leads: tuple[str, str] | None = None

    def theirs(self, seen: dict[str, float], node: str) -> float | None:
        """Volts of ngspice; None in the air."""
        seen = {**seen, "0": 0.0}
        name = self.net.names[node]
        own = self.island[name]
        if own == self.island["0"]:
            return seen[name]
        if self.leads is None or own != self.island[self.leads[0]]:
            return None
        air, held = self.leads
        return seen[name] - seen[air] + seen[held]


def drawn(machine: Machine, wiring: Wiring) -> Iterator[Drawn]:
    """Seeded: each condition, healthy and with some ways of faults, a voltmeter anywhere."""
    rng = random.Random(machine.id)
    nodes = list(wiring.model.wires.circuit.nodes)
    for condition in machine.conditions:
        ways = [w.changes for f in machine.faults for w in ways_of(f, condition)]
        plain = [w for w in ways if all(c.value or c.mode in PLAIN for c in w)]
        for changes in [(), *rng.sample(plain, min(EACH, len(plain)))]:
            red, black = rng.sample(nodes, 2)
            probe = Probe("volts", red, black)
            yield Drawn(condition.id, tuple(changes), probe, rng.randrange(POINTS))


def solved(machine: Machine, wiring: Wiring, cell: Drawn, vt: float) -> Iterator[Solved]:
    """The cell bare, and with its meter."""
    net = network_of(machine, wiring, cell, Exact)
    assert isinstance(net, Exact)
    faults = [Fault(c.on, c.mode, ohms, c.to) for c, ohms in net.faults]
    bare = wiring.model.wires.circuit
    probe = cell.probe
    pins = {"a": probe.red, "b": probe.black}
    meter = Resistor(ref="METER", pins=pins, ohms=probe.ohms)
    where = (machine.id, cell.condition, [(c.on or c.value, c.mode) for c in cell.changes])
    leads = None
    for circuit in (bare, replace(bare, elements=(*bare.elements, meter))):
        try:
            ours = solve(circuit, faults, None, net.states, net.values)
        except CircuitError as why:  # a relay or module that switches itself off and on again
            assert why.kind == "states", (where, why)
            return
        net.heat(ours.nodes)
        ways: list[tuple[float | None, float]] = [(None, AS_PROMISED)]
        if circuit is not bare:
            ways = [(probe.ohms, AS_PROMISED if leads is None else HANGING)]
            ways += [] if leads is None else [(None, AS_PROMISED)]
        for ohms, within in ways:
            cards = net.cards(ours.on, vt, ohms)
            apart = leads if ohms is None and circuit is not bare else None
            yield Solved((*where, circuit is not bare, ohms), net, ours, cards, dict(net.lamps),
                         net.island, within, apart)  # fmt: skip
        if circuit is bare:
            leads = net.leads()


@pytest.mark.skipif(not installed(), reason=MISSING)
@pytest.mark.parametrize("name", each(NAMES))
def test_node_volts_of_shipped_circuits_agree_to_a_nanovolt(name: str, tmp_path: Path) -> None:
    machine = find_machine(name).it
    assert machine.wires is not None
    wiring = Wiring(machine, load_shipped_meter("generic-6000"))
    vt = thermal_volts(tmp_path)
    asked = list(drawn(machine, wiring))
    per = [list(solved(machine, wiring, cell, vt)) for cell in asked]
    assert sum(1 for one in per if len(one) < 2) <= len(asked) // 50  # no state agrees: no volts
    cells = [one for several in per for one in several]
    found = run_all(tmp_path, {f"c{i}": cell.cards for i, cell in enumerate(cells)})
    gaps: dict[str, float] = {}
    compared = 0
    for cell, seen in zip(cells, found, strict=True):
        assert len(seen) > 1, f"{cell.where}: ngspice finds no point"
        cell.net.lamps = cell.lamps
        assert cell.net.differs(seen, cell.ours.on) == "", cell.where
        for node, volts in cell.ours.nodes.items():
            theirs = cell.theirs(seen, node)
            assert (volts is None) == (theirs is None), (cell.where, node)
            if volts is None or theirs is None or node == machine.wires.circuit.ground:
                continue
            gap = abs(volts - theirs)
            assert gap < cell.within, f"{cell.where}, {node}: {gap:.2g} V"
            compared += 1
            if cell.within == AS_PROMISED:
                gaps[f"{cell.where}, {node}"] = gap
    assert {c.where[1] for c in cells} == {c.id for c in machine.conditions}
    assert compared > 3 * len(cells)
    # far inside: what is left is rounding, so a promise of 1e-9 V is no chance
    assert max(gaps.values()) < AS_PROMISED / 10, max(gaps, key=lambda place: gaps[place])
