"""A machine's circuit in one condition with one fault, written as cards for ngspice.

Written once more from the file: states, values, faults, meter; nothing of our solver. Modules and
relays are settled by asking ngspice and looking at their volts, all off at first, as a machine is
when it is switched on; lamps take the ohms that they have at their volts. 1e13 ohm to ground stands
in for "floating": it moves a 10 Mohm meter by 1e-6. ngspice at reltol=1e-8.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from knowngood.circuit.circuit import Cell, standing
from knowngood.circuit.device import Bridge, Module, Potentiometer, Relay, Winding3
from knowngood.circuit.element import Battery, Capacitor, Element, Lamp, State
from knowngood.circuit.laws import Filament, curves
from knowngood.circuit.probe import Probe
from knowngood.machines.bench_model import BenchModel
from knowngood.machines.electric import Change
from tests.circuit.spice import deck, run_all

OPTIONS = ".options reltol=1e-8 abstol=1e-15 vntol=1e-10 gmin=1e-12 itl1=200"
ROUNDS = 8
CURVED = ("diode", "bridge", "lamp")
Faults = Sequence[tuple[Change, float | None]]
"""Changes in the circuit that are no values, with their ohms."""


class Network:
    """A machine's circuit in one condition with one fault, as cards for ngspice."""

    def __init__(
        self, model: BenchModel, condition: str, changes: Sequence[Change],
        values: Mapping[str, float], faults: Faults, probe: Probe,
    ) -> None:  # fmt: skip
        """``values``: of all that is not of diodes and lamps (for a diode test of those too), by
        "REF.field", with those that the changes set; ``faults``: the other changes, with their
        ohms."""
        self.circuit, self.model, self.condition = model.wires.circuit, model, condition
        self.changes = tuple(changes)
        self.shut = model.is_shut(condition, self.changes, probe)
        self.limp = False  # an ohmmeter at its open volts, which pushes less than its test current
        self.states: dict[str, State] = model.stands(condition)
        self.values, self.faults, self.probe = dict(values), list(faults), probe
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
            volts = self.volts(seen, element.pins["a"]) - self.volts(seen, element.pins["b"])
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
        by_ref = {e.ref: e for e in self.elements}
        for element in self.elements:
            if element.plugged:
                lines += self._cards(element, on, vt)
        for change, ohms in self.faults:
            if change.mode == "leak":
                ref, _, pin = change.on.rpartition(".")
                element = by_ref[ref or pin]
                if not element.plugged:
                    continue  # the chafed wire hangs in the air with its plug
                start = element.pins.get(pin, next(iter(element.pins.values())))
                lines.append(f"Rleak {self.names[start]} {self.names[str(change.to)]}"
                             f" {max(ohms or 0.0, 1e-9)!r}")
        lines += [f"Rg{n} {n} 0 1e13" for n in self.names.values() if n != "0"]
        probe = self.probe
        red, black = self.names[probe.red], self.names[probe.black]
        if probe.read == "volts":
            lines.append(f"Rmeter {red} {black} {probe.ohms!r}")
        elif self.limp:
            lines.append(f"Vmeter {red} {black} {probe.open_volts!r}")
        else:
            # 1 Gohm beside it keeps the volts at an open within what ngspice can add up
            lines += [f"Imeter {black} {red} {probe.test_current!r}", f"Ropen {red} {black} 1e9"]
        return "\n".join(["* cell", *lines, OPTIONS, ".end"]) + "\n"

    def shown(self, seen: dict[str, float]) -> float:
        probe = self.probe
        volts = self.volts(seen, probe.red) - self.volts(seen, probe.black)
        if probe.read == "volts":
            return volts
        if probe.read == "diode":  # the display is the drop, that of the leads with it
            return volts + probe.test_current * probe.lead_ohms
        if self.limp:
            return volts / max(-seen["vmeter#branch"], 1e-12) + probe.lead_ohms
        through = probe.test_current - volts / 1e9
        return volts / max(through, 1e-12) + probe.lead_ohms

    def agrees(self, seen: dict[str, float], element: Element) -> bool:
        """Whether the element would be on with these volts."""
        pins = {k: self.volts(seen, n) for k, n in element.pins.items()}
        if isinstance(element, Relay):
            coil = self._mode(element.ref, "coil") or self._mode(element.ref)
            ohms = _changed(element.coil_ohms, coil if coil and coil[0] != "stuck open" else None)
            amps = 0.0 if ohms is None else abs(pins["coil+"] - pins["coil-"]) / ohms
            return amps >= element.pull_in / element.coil_ohms
        assert isinstance(element, Module)
        fed = pins["plus"] - pins["minus"] > element.alive_above
        enable = element.enable_above
        return fed and (enable is None or pins["enable"] - pins["minus"] > enable)

    def volts(self, seen: dict[str, float], node: str) -> float:
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
        if isinstance(element, Potentiometer):
            lines = []
            parts = {"upper": ("a", element.position), "lower": ("b", 1 - element.position)}
            for part, (end, share) in parts.items():
                ohms = _changed(element.ohms * share, self._mode(element.ref, part))
                if ohms is not None and end in pins:
                    lines.append(f"R{ref}{end} {pins[end]} {ref}_t {max(ohms, 1e-9)!r}")
            ohms = _changed(element.wiper_ohms, self._mode(element.ref, "wiper"))
            if ohms is not None:
                lines.append(f"R{ref}w {ref}_t {pins['wiper']} {max(ohms, 1e-9)!r}")
            return lines
        if isinstance(element, Winding3):
            lines = []
            for phase in "uvw":
                ohms = _changed(element.ohms / 2, self._mode(element.ref, phase))
                if ohms is not None:
                    lines.append(f"R{ref}{phase} {pins[phase]} {ref}_s {max(ohms, 1e-9)!r}")
            return lines
        if isinstance(element, Bridge):
            if self.shut:
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


def forced(element: Element, net: Network) -> bool | None:
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


def held(element: Element, net: Network) -> bool:
    return bool(forced(element, net))


def settle(folder: Path, nets: Sequence[Network], vt: float) -> list[dict[str, float] | None]:
    """Volts of each network once its rules and lamps agree with them, all by one ngspice process a
    round; None where ngspice finds no point; nothing ({}) where a relay or a module never comes to
    rest, as one that clicks on and off."""
    on = [{e.ref: held(e, net) for e in net.rules()} for net in nets]
    todo = list(range(len(nets)))
    found: list[dict[str, float] | None] = [None] * len(nets)
    for _ in range(ROUNDS if nets else 0):
        decks = {f"c{i}": nets[i].text(on[i], vt) for i in todo}
        again = []
        for i, seen in zip(todo, run_all(folder, decks), strict=True):
            if len(seen) <= 1:
                continue  # ngspice finds no point
            net, before = nets[i], dict(on[i])
            for e in net.rules():
                if forced(e, net) is None:
                    on[i][e.ref] = net.agrees(seen, e)
            if net.warm(seen) and on[i] == before:
                found[i] = seen
            else:
                again.append(i)
        todo = again
        if not todo:
            break
    for i in todo:
        found[i] = {}
    return found
