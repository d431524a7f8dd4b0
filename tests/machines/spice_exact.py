"""A machine's circuit as cards for ngspice, exact to what a double can hold.

`Network` with its stand-ins taken out, so that both sides solve the same equations:
- below 1 ohm a path is not a conductance but a branch with its own current, a 0 V source and a
  voltage that follows its amps (0 ohm: the source alone). 200 S on a node that hangs on a 10 Mohm
  meter would cost ngspice seven of its sixteen digits, whatever its tolerances;
- nothing of 1e13 ohm to ground: an island is found in the cards, and one of its nodes tied to
  ground by 1 ohm, through which no current can flow;
- bridges are never left out; relays, modules and lamps stand as they are told, and are asked
  afterwards whether they agree with the volts that ngspice found.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from knowngood.circuit.element import Lamp
from knowngood.circuit.laws import Filament, curves
from tests.circuit.spice import OPTIONS
from tests.machines.spice_network import Network, forced

AS_BRANCH = 1.0  # ohms, below which a path has its current as an unknown
NOTHING = 1e-9  # ohms that stand for none


class Exact(Network):
    """`cards` as above; `island`: each node of those last written, by its name there, with one that
    stands for all that hang together."""

    island: dict[str, str]

    def cards(self, on: Mapping[str, bool], vt: float, meter: float | None) -> str:
        """The deck with relays and modules `on` so; `meter`: ohms between the leads, if any."""
        self.shut = False
        plain = self.text(self.held(on), vt).splitlines()[1:-2]
        kept = [x for x in plain if not x.endswith(" 1e13") and x[:6] != "Rmeter"]
        lines = [card for one in kept for card in _path(one)]
        if meter is not None:
            red, black = self.names[self.probe.red], self.names[self.probe.black]
            lines.append(f"Rmeter {red} {black} {meter!r}")
        self.island = _islands(lines, self.names.values())
        loose = sorted(set(self.island.values()) - {self.island["0"]})
        ties = [f"Rtie{i} {n} 0 1" for i, n in enumerate(loose)]
        return "\n".join(["* cell", *lines, *ties, OPTIONS, ".end"]) + "\n"

    def leads(self) -> tuple[str, str] | None:
        """(in the air, grounded) where the leads touch two islands of the cards last written; else
        None."""
        red, black = self.names[self.probe.red], self.names[self.probe.black]
        first, second = (self.island[n] == self.island["0"] for n in (red, black))
        if first == second:
            return None
        return (black, red) if first else (red, black)

    def held(self, on: Mapping[str, bool]) -> dict[str, bool]:
        """A relay whose contact is stuck counts as on, whatever its coil says."""
        fixed = {e.ref: forced(e, self) for e in self.rules()}
        return {ref: on[ref] if held is None else held for ref, held in fixed.items()}

    def heat(self, volts: Mapping[str, float | None]) -> None:
        """Give the lamps the ohms that they have at these volts (by node; None: no volts)."""
        for element in self.elements:
            if isinstance(element, Lamp):
                a, b = (volts[element.pins[p]] or 0.0 for p in "ab")
                self.lamps[element.ref] = _ohms(element, a - b)

    def differs(self, seen: dict[str, float], on: Mapping[str, bool]) -> str:
        """What does not agree with the volts that ngspice found; "" if all does."""
        for element in self.rules():
            says = self.agrees(seen, element)
            if forced(element, self) is None and says != on[element.ref]:
                return f"{element.ref} would be {'on' if says else 'off'}"
        for element in self.elements:
            if isinstance(element, Lamp) and element.plugged:
                volts = self.volts(seen, element.pins["a"]) - self.volts(seen, element.pins["b"])
                ohms = _ohms(element, volts)
                if abs(ohms - self.lamps[element.ref]) > 1e-9 * ohms:
                    return f"{element.ref} would have {ohms:.12g} ohm"
        return ""


def _islands(lines: Sequence[str], nodes: Iterable[str]) -> dict[str, str]:
    """Each node with one that stands for its island; only what carries amps joins."""
    root = {n: n for n in ("0", *nodes)}

    def find(name: str) -> str:
        root.setdefault(name, name)
        while root[name] != name:
            name = root[name]
        return name

    for line in lines:
        if line[0] in "RVHD":
            _, a, b, *_ = line.split()
            root[find(a)] = find(b)
    return {n: find(n) for n in tuple(root)}


def _ohms(lamp: Lamp, volts: float) -> float:
    law = lamp.law()
    assert isinstance(law, Filament)
    amps, slope = curves({0: law}).amps(np.array([[volts]]))
    return volts / float(amps[0, 0]) if abs(volts) > 1e-12 else 1 / float(slope[0, 0])


def _path(card: str) -> list[str]:
    """A resistor of little as a branch of its own."""
    name, a, b, *rest = card.split()
    if name[0] != "R" or float(rest[0]) >= AS_BRANCH:
        return [card]
    ohms = float(rest[0])
    if ohms <= NOTHING:
        return [f"V{name} {a} {b} 0"]
    return [f"V{name} {a} {name}_x 0", f"H{name} {name}_x {b} V{name} {ohms!r}"]
