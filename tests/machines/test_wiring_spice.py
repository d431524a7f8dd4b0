"""Cells of the tables of the shipped machines against ngspice, which knows nothing of our solver.

The network of a cell is written here once more from the file: states, spreads, fault, meter.
Modules are settled by asking ngspice and looking at their volts. 1e13 ohm to ground stands in for
"floating": it moves a 10 Mohm meter by 1e-6. ngspice at reltol=1e-8, compared at 1e-4.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from knowngood.circuit.circuit import Cell, standing
from knowngood.circuit.device import Bridge, Module, Relay, Winding3
from knowngood.circuit.element import Battery, Capacitor, Element, Lamp
from knowngood.circuit.faulted import Fault
from knowngood.circuit.laws import Filament, curves
from knowngood.circuit.probe import Probe
from knowngood.circuit.solve import solve
from knowngood.machines.bench_model import Reading
from knowngood.machines.check import read_machine
from knowngood.machines.design import POINTS, level, value_at
from knowngood.machines.electric import Change
from knowngood.machines.machine import Machine
from knowngood.machines.scope import Scope
from knowngood.machines.shipped import load_shipped
from knowngood.machines.wiring import Wiring, ways_of
from knowngood.measure.meter import load_shipped_meter
from tests.circuit.spice import MISSING, deck, installed, run_all, thermal_volts

NAMES = ("mower-battery-56v", "rider-start-12v", "hedge-trimmer-36v")
OPTIONS = ".options reltol=1e-8 abstol=1e-15 vntol=1e-10 gmin=1e-12 itl1=200"
EACH = 36  # cells drawn for each machine
_PLAIN = ("open", "stuck open", "short", "stuck closed", "high resistance", "leak")


@dataclass(frozen=True)
class Drawn:
    """One cell: a probe under one way of a fault, in one machine of the design."""

    condition: str
    changes: tuple[Change, ...]
    probe: Probe
    row: int


def drawn_cells(machine: Machine, wiring: Wiring, count: int) -> list[Drawn]:
    """Seeded; volts and ohms, where a fault touches what the leads touch."""
    rng = random.Random(machine.id)
    conditions = {c.id: c for c in machine.conditions}
    found = []
    for test in machine.tests:
        if test.probe is None or test.probe.read not in ("volts", "ohms"):
            continue
        for fault in machine.faults:
            for way in ways_of(fault, conditions[test.condition]):
                for probe in wiring.model.probes(test.probe):
                    if wiring.model.touches(test.condition, way.changes, probe):
                        found.append(Drawn(test.condition, way.changes, probe,
                                           rng.randrange(POINTS)))  # fmt: skip
    return rng.sample([d for d in found if all(_plain(c) for c in d.changes)], count)


def _plain(change: Change) -> bool:
    return bool(change.value) or change.mode in _PLAIN


class Network:
    """A machine's circuit in one condition with one fault, as cards for ngspice."""

    def __init__(self, machine: Machine, wiring: Wiring, cell: Drawn) -> None:
        assert machine.wires is not None
        self.circuit, self.cell, self.model = machine.wires.circuit, cell, wiring.model
        condition = next(c for c in machine.conditions if c.id == cell.condition)
        self.states = wiring.model.stands(cell.condition)
        columns = {k: n for n, k in enumerate(dict.fromkeys(
            [*machine.wires.spreads, *(k for c in machine.conditions for k in c.spreads)]))}
        spans = {**machine.wires.spreads, **condition.spreads}
        curved = {e.ref for e in self.circuit.elements if e.KIND in ("diode", "bridge", "lamp")}
        self.values = {k: value_at(s, level(cell.row, columns[k])) for k, s in spans.items()
                       if k.rpartition(".")[0] not in curved}  # fmt: skip
        self.faults: list[tuple[Change, float | None]] = []
        for n, change in enumerate(cell.changes):
            where = level(cell.row, -1 if n == 0 else len(columns) + n)
            if change.value and change.span is not None:
                self.values[change.value] = value_at(change.span, where)
            else:
                ohms = None if change.ohms is None else value_at(change.ohms, where)
                self.faults.append((change, ohms))
        asked = Cell(states=self.states, values=self.values)
        stand = {e.ref: e for e in standing(self.circuit, asked)}
        self.elements = [stand.get(e.ref, e) for e in self.circuit.elements]
        self.names = {n: f"n{i}" for i, n in enumerate(self.circuit.nodes)}
        self.names[self.circuit.ground] = "0"
        self.lamps = {e.ref: (e.volts or 1.0) ** 2 / (e.watts or 1.0)
                      for e in self.elements if isinstance(e, Lamp)}  # fmt: skip

    def warm(self, seen: dict[str, float]) -> bool:
        """Give each lamp the ohms that it has at these volts; False while they still change."""
        settled = True
        for element in self.elements:
            if not isinstance(element, Lamp):
                continue
            volts = self._volts(seen, element.pins["a"]) - self._volts(seen, element.pins["b"])
            law = element.law()
            assert isinstance(law, Filament)
            amps, _ = curves({0: law}).amps(np.array([[abs(volts) + 1e-9]]))
            ohms = (abs(volts) + 1e-9) / float(amps[0, 0])
            settled &= abs(ohms - self.lamps[element.ref]) < 1e-7 * ohms
            self.lamps[element.ref] = ohms
        return settled

    def rules(self) -> list[Element]:
        return [e for e in self.elements if isinstance(e, Module | Relay) and e.plugged]

    def text(self, on: dict[str, bool], vt: float) -> str:
        lines: list[str] = []
        for element in self.elements:
            if element.plugged:
                lines += self._cards(element, on, vt)
        for change, ohms in self.faults:
            if change.mode == "leak":
                ref, _, pin = change.on.rpartition(".")
                element = self.circuit.by_ref[ref or pin]
                start = element.pins.get(pin, next(iter(element.pins.values())))
                lines.append(f"Rleak {self.names[start]} {self.names[str(change.to)]}"
                             f" {max(ohms or 0.0, 1e-9)!r}")
        lines += [f"Rg{n} {n} 0 1e13" for n in self.names.values() if n != "0"]
        probe = self.cell.probe
        red, black = self.names[probe.red], self.names[probe.black]
        if probe.read == "volts":
            lines.append(f"Rmeter {red} {black} {probe.ohms!r}")
        else:
            # 1 Gohm beside it keeps the volts at an open within what ngspice can add up
            lines += [f"Imeter {black} {red} {probe.test_current!r}", f"Ropen {red} {black} 1e9"]
        return "\n".join(["* cell", *lines, OPTIONS, ".end"]) + "\n"

    def shown(self, seen: dict[str, float]) -> float:
        probe = self.cell.probe
        volts = self._volts(seen, probe.red) - self._volts(seen, probe.black)
        if probe.read == "volts":
            return volts
        through = probe.test_current - volts / 1e9
        return volts / max(through, 1e-12) + probe.lead_ohms

    def agrees(self, seen: dict[str, float], element: Element) -> bool:
        """Whether the element would be on with these volts."""
        pins = {k: self._volts(seen, n) for k, n in element.pins.items()}
        if isinstance(element, Relay):
            coil = self._mode(element.ref, "coil") or self._mode(element.ref)
            ohms = _changed(element.coil_ohms, coil if coil and coil[0] != "stuck open" else None)
            amps = 0.0 if ohms is None else abs(pins["coil+"] - pins["coil-"]) / ohms
            return amps >= element.pull_in / element.coil_ohms
        assert isinstance(element, Module)
        fed = pins["plus"] - pins["minus"] > element.alive_above
        enable = element.enable_above
        return fed and (enable is None or pins["enable"] - pins["minus"] > enable)

    def _volts(self, seen: dict[str, float], node: str) -> float:
        name = self.names[node]
        return 0.0 if name == "0" else seen[name]

    def _mode(self, ref: str, branch: str = "") -> tuple[str, float | None] | None:
        label = f"{ref}.{branch}" if branch else ref
        return next(((c.mode, o) for c, o in self.faults if c.on == label and c.mode != "leak"),
                    None)  # fmt: skip

    def _cards(self, element: Element, on: dict[str, bool], vt: float) -> list[str]:
        pins = {k: self.names[n] for k, n in element.pins.items()}
        ref = re.sub(r"\W", lambda m: f"_{ord(m[0])}_", element.ref)
        whole = self._mode(element.ref)
        if isinstance(element, Capacitor):
            return []
        if isinstance(element, Module):
            return self._module(element, pins, ref, on[element.ref])
        if isinstance(element, Relay):
            coil = self._mode(element.ref, "coil") or (whole if whole == ("open", None) else None)
            ohms = _changed(element.coil_ohms, coil)
            lines = [] if ohms is None else [f"Rc{ref} {pins['coil+']} {pins['coil-']} {ohms!r}"]
            end, name = ("no", "no") if on[element.ref] else ("nc", "nc")
            contact = _changed(element.ohms, self._mode(element.ref, name) or (
                whole if whole and whole[0] == "high resistance" else None))
            if end in pins and contact is not None:
                lines.append(f"Rk{ref} {pins['com']} {pins[end]} {max(contact, 1e-9)!r}")
            return lines
        if isinstance(element, Winding3):
            lines = []
            for phase in "uvw":
                ohms = _changed(element.ohms / 2, self._mode(element.ref, phase))
                if ohms is not None:
                    lines.append(f"R{ref}{phase} {pins[phase]} {ref}_s {max(ohms, 1e-9)!r}")
            return lines
        if isinstance(element, Bridge):
            if self.model.is_shut(self.cell.condition, self.cell.changes, self.cell.probe):
                return []  # left out there: some nA, see test_a_blocking_bridge_is_no_matter
            return self._bridge(element, pins, ref, vt)
        if isinstance(element, Battery):
            if whole is not None and whole[0] == "open":
                return []
            inside = _changed(element.ohms, whole)
            return [f"V{ref} {ref}_in {pins['minus']} {element.volts!r}",
                    f"R{ref} {ref}_in {pins['plus']} {max(inside or 0.0, 1e-9)!r}"]
        if isinstance(element, Lamp):
            ohms = _changed(self.lamps[element.ref], whole)
            return [] if ohms is None else [f"R{ref} {pins['a']} {pins['b']} {max(ohms, 1e-9)!r}"]
        if element.KIND == "diode":
            text = deck(replace(self.circuit, elements=(replace(element, ref=ref, pins=pins),)), vt)
            return text.splitlines()[1:-2]
        if getattr(element, "closed", True) is False and (
            whole is None or whole[0] != "stuck closed"
        ):
            return []
        ohms = _changed(float(getattr(element, "ohms", 0.0) or 0.0), whole)
        return [] if ohms is None else [f"R{ref} {pins['a']} {pins['b']} {max(ohms, 1e-9)!r}"]

    def _module(self, m: Module, pins: dict[str, str], ref: str, alive: bool) -> list[str]:
        lines = []
        if m.ohms is not None:
            lines.append(f"Rs{ref} {pins['plus']} {pins['minus']} {m.ohms!r}")
        if m.enable_ohms is not None and "enable" in pins:
            lines.append(f"Re{ref} {pins['enable']} {pins['minus']} {m.enable_ohms!r}")
        if alive:
            lines.append(f"Id{ref} {pins['plus']} {pins['minus']} {m.amps!r}")
            if "out" in pins and m.out_volts is not None:
                # the regulator: what leaves at out comes in at plus
                lines += [f"V{ref} {ref}_o {pins['minus']} {m.out_volts!r}",
                          f"R{ref} {ref}_o {pins['out']} {max(m.out_ohms, 1e-9)!r}",
                          f"F{ref} {pins['minus']} {pins['plus']} V{ref} 1"]
            elif "out" in pins:
                lines.append(f"R{ref} {pins['plus']} {pins['out']} {max(m.out_ohms, 1e-9)!r}")
        return lines

    def _bridge(self, element: Bridge, pins: dict[str, str], ref: str, vt: float) -> list[str]:
        text = deck(replace(self.circuit, elements=(replace(element, ref=ref, pins=pins),)), vt)
        lines = text.splitlines()[1:-2]
        out = [lines[0]]
        for line, branch in zip(lines[1:], ("u+", "v+", "w+", "u-", "v-", "w-"), strict=True):
            mode = self._mode(element.ref, branch)
            if mode is None:
                out.append(line)
            elif mode[0] != "open":
                _, a, b, _ = line.split()
                out.append(f"R{line.split()[0]} {a} {b} {max(mode[1] or 0.0, 1e-9)!r}")
        return out


def _changed(own: float, mode: tuple[str, float | None] | None) -> float | None:
    """Ohms under a fault; None: open."""
    if mode is None:
        return own
    kind, ohms = mode
    if kind in ("open", "stuck open"):
        return None
    if kind == "stuck closed":
        return own if ohms is None else ohms
    return ohms or 0.0


@pytest.mark.skipif(not installed(), reason=MISSING)
@pytest.mark.parametrize("name", NAMES)
def test_cells_of_the_table_agree_with_ngspice(name: str, tmp_path: Path) -> None:
    machine, problems = read_machine(load_shipped(name), name)
    assert machine is not None, problems
    wiring = Wiring(machine, load_shipped_meter("generic-6000"))
    cells = drawn_cells(machine, wiring, EACH)
    nets = [Network(machine, wiring, c) for c in cells]
    vt = thermal_volts(tmp_path)
    on = [{e.ref: _held(e, net) for e in net.rules()} for net in nets]
    for _ in range(8):  # all dead or released first, then as they see it
        decks = {f"c{i}": net.text(on[i], vt) for i, net in enumerate(nets)}
        seen = run_all(tmp_path, decks)
        before = [dict(o) for o in on]
        kept = [i for i, s in enumerate(seen) if len(s) > 1]  # it finds no point for some
        cells, nets, on, before, seen = ([x[i] for i in kept] for x in (cells, nets, on, before,
                                                                        seen))  # fmt: skip
        for i, net in enumerate(nets):
            for e in net.rules():
                if _forced(e, net) is None:
                    on[i][e.ref] = net.agrees(seen[i], e)
        warm = [net.warm(s) for net, s in zip(nets, seen, strict=True)]
        if on == before and all(warm):
            break
    compared = 0
    scope = Scope(wiring.model, [Reading(c.condition, c.changes, c.probe) for c in cells])
    for i, (cell, net) in enumerate(zip(cells, nets, strict=True)):
        (ours,) = scope.read([Reading(cell.condition, cell.changes, cell.probe)], [cell.row])
        theirs, value = net.shown(seen[i]), ours[0]
        where = (name, cell.condition, cell.changes, cell.probe.red, cell.probe.black)
        if value == "OL":
            assert theirs > cell.probe.open_volts / cell.probe.test_current, where
        elif isinstance(value, float) and abs(theirs) < 2900:  # above, the meter changes its range
            assert value == pytest.approx(theirs, rel=1e-4, abs=1e-4), where
            compared += 1
    assert compared >= EACH // 2


def test_a_blocking_bridge_is_no_matter() -> None:
    """Volts are worked out without a bridge that only blocks. Against the whole circuit: within a
    thousandth where a pack drives it, and within 2 % behind a board that leaks through 20 Mohm."""
    machine, _ = read_machine(load_shipped(NAMES[0]), NAMES[0])
    assert machine is not None and machine.wires is not None
    wiring = Wiring(machine, load_shipped_meter("generic-6000"))
    compared = 0
    for cell in drawn_cells(machine, wiring, 80):
        net = Network(machine, wiring, cell)
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


def _forced(element: Element, net: Network) -> bool | None:
    """A module or relay that a fault or its state holds."""
    modes = {c.mode for c, _ in net.faults if c.on == element.ref}
    if any(c.on == f"{element.ref}.coil" and c.mode == "short" for c, _ in net.faults):
        return False  # a shorted coil pulls nothing, whatever flows
    if "stuck open" in modes or ("open" in modes and isinstance(element, Module)):
        return False
    if "stuck closed" in modes:
        return True
    rule = element.rule()
    return rule.forced if rule is not None else None


def _held(element: Element, net: Network) -> bool:
    return bool(_forced(element, net))
