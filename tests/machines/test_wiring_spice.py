"""Cells of the tables of the shipped machines against ngspice, which knows nothing of our solver.

How a cell becomes cards for ngspice is told in `spice_network`. Compared at 1e-4: these are
displays, not node volts, read off the table (by updates, seven machines at once, blocking bridges
left out), against cards with stand-ins: 1e13 ohm from each node to ground moves a 10 Mohm meter by
1e-6 a node, 1 Gohm beside the ohmmeter, reltol 1e-8. Without stand-ins: node volts at 1e-9 V in
`test_nodes_spice`, ohms and diode displays at 1e-10 in known_answers/test_circuits_ngspice.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from knowngood.circuit.faulted import Fault
from knowngood.circuit.probe import Probe
from knowngood.circuit.solve import solve
from knowngood.machines.bench_model import Reading
from knowngood.machines.design import POINTS, level, value_at
from knowngood.machines.electric import Change
from knowngood.machines.machine import Machine
from knowngood.machines.scope import Scope
from knowngood.machines.wiring import Wiring, ways_of
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.library import find_machine, shipped_machines
from tests.circuit.spice import MISSING, installed, thermal_volts
from tests.families import each
from tests.machines.spice_network import CURVED, Network, settle

NAMES = tuple(n for n in shipped_machines() if find_machine(n).it.wires is not None)
EACH = 36  # cells drawn for each machine
PLAIN = ("open", "stuck open", "short", "stuck closed", "high resistance", "leak")


@dataclass(frozen=True)
class Drawn:
    """One cell: a probe under one way of a fault, in one machine of the design."""

    condition: str
    changes: tuple[Change, ...]
    probe: Probe
    row: int


def drawn_cells(
    machine: Machine, wiring: Wiring, count: int, reads: Sequence[str] = ("volts", "ohms", "diode")
) -> list[Drawn]:
    """Seeded; where a fault touches what the leads touch."""
    rng = random.Random(machine.id)
    conditions = {c.id: c for c in machine.conditions}
    found = []
    for test in machine.tests:
        if test.probe is None or test.probe.read not in reads:
            continue
        for fault in machine.faults:
            for way in ways_of(fault, conditions[test.condition]):
                for probe in wiring.model.probes(test.probe):
                    if wiring.model.touches(test.condition, way.changes, probe):
                        found.append(Drawn(test.condition, way.changes, probe,
                                           rng.randrange(POINTS)))  # fmt: skip
    plain = [d for d in found if all(_plain(c) for c in d.changes)]
    return rng.sample(plain, min(count, len(plain)))


def _plain(change: Change) -> bool:
    return bool(change.value) or change.mode in PLAIN


def network_of(
    machine: Machine, wiring: Wiring, cell: Drawn, kind: type[Network] = Network
) -> Network:
    """The cell with the values of its machine of the design."""
    assert machine.wires is not None
    condition = next(c for c in machine.conditions if c.id == cell.condition)
    columns = {k: n for n, k in enumerate(dict.fromkeys(
        [*machine.wires.spreads, *(k for c in machine.conditions for k in c.spreads)]))}
    spans = {**machine.wires.spreads, **condition.spreads}
    curved = {e.ref for e in machine.wires.circuit.elements if e.KIND in CURVED}
    diode = cell.probe.read == "diode"  # there the drop is what is read
    values = {k: value_at(s, level(cell.row, columns[k])) for k, s in spans.items()
              if diode or k.rpartition(".")[0] not in curved}  # fmt: skip
    faults: list[tuple[Change, float | None]] = []
    for n, change in enumerate(cell.changes):
        where = level(cell.row, -1 if n == 0 else len(columns) + n)
        if change.value and change.span is not None:
            values[change.value] = value_at(change.span, where)
        else:
            ohms = None if change.ohms is None else value_at(change.ohms, where)
            faults.append((change, ohms))
    return kind(wiring.model, cell.condition, cell.changes, values, faults, cell.probe)


@pytest.mark.skipif(not installed(), reason=MISSING)
@pytest.mark.parametrize("name", each(NAMES))
def test_cells_of_the_table_agree_with_ngspice(name: str, tmp_path: Path) -> None:
    machine = find_machine(name).it
    wiring = Wiring(machine, load_shipped_meter("generic-6000"))
    cells = drawn_cells(machine, wiring, EACH)
    nets = [network_of(machine, wiring, c) for c in cells]
    found = settle(tmp_path, nets, thermal_volts(tmp_path))
    compared, lost = 0, 0
    scope = Scope(wiring.model, [Reading(c.condition, c.changes, c.probe) for c in cells])
    for cell, net, seen in zip(cells, nets, found, strict=True):
        if not seen:
            lost += 1  # it finds no point for some
            continue
        (ours,) = scope.read([Reading(cell.condition, cell.changes, cell.probe)], [cell.row])
        theirs, value = net.shown(seen), ours[0]
        where = (name, cell.condition, cell.changes, cell.probe.red, cell.probe.black)
        if value == "OL":
            assert theirs > cell.probe.open_volts / cell.probe.test_current, where
            compared += 1
        elif isinstance(value, float) and abs(theirs) < 2900:  # above, the meter changes its range
            assert value == pytest.approx(theirs, rel=1e-4, abs=1e-4), where
            compared += 1
    assert lost <= 2 and compared >= 0.7 * len(cells) > 0, (lost, compared)


def test_a_blocking_bridge_is_no_matter() -> None:
    """Volts are worked out without a bridge that only blocks. Against the whole circuit: within a
    thousandth where a pack drives it, and within 2 % behind a board that leaks through 20 Mohm."""
    machine = find_machine("mower-battery-56v").it
    assert machine.wires is not None
    wiring = Wiring(machine, load_shipped_meter("generic-6000"))
    compared = 0
    for cell in drawn_cells(machine, wiring, 80, ("volts", "ohms")):
        net = network_of(machine, wiring, cell)
        if not wiring.model.is_shut(cell.condition, cell.changes, cell.probe):
            continue
        faults = [Fault(c.on, c.mode, ohms, c.to) for c, ohms in net.faults]
        whole = solve(machine.wires.circuit, faults, cell.probe, net.states, net.values).probe
        reading = Reading(cell.condition, cell.changes, cell.probe)
        ((ours,),) = Scope(wiring.model, [reading]).read([reading], [cell.row])
        assert isinstance(whole, float) and isinstance(ours, float)
        leaky = any(ohms is not None and ohms > 1e6 for _, ohms in net.faults)
        assert ours == pytest.approx(whole, rel=2e-2 if leaky else 1e-3, abs=1e-4), cell
        compared += 1
    assert compared > 20
