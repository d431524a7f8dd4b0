"""Random networks, and ngspice to solve them.

ngspice is set to `reltol=1e-12 abstol=1e-18 vntol=1e-14 gmin=1e-12 itl1=1000`, `set numdgt=15`,
27 degC. Its diode is `d(is n)` with no series resistance, the law of Junction. Releases carry
different values of k and q: kT/q is read back from one forced diode, and n scaled so that n Vt is
the same number of volts on both sides.
"""

from __future__ import annotations

import math
import random
import re
import shutil
import subprocess
from pathlib import Path

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.device import Bridge, Potentiometer, Relay, Winding3
from knowngood.circuit.element import Battery, Diode, Element, Resistor, Switch
from knowngood.circuit.laws import GMIN, VT, junction

MISSING = "ngspice is not installed; install it with: apt-get install ngspice"
OPTIONS = ".options reltol=1e-12 abstol=1e-18 vntol=1e-14 gmin=1e-12 itl1=1000"
_CAL_SATURATION, _CAL_VOLTS = 1e-9, 0.6


def installed() -> bool:
    return shutil.which("ngspice") is not None


def random_circuit(seed: int) -> Circuit:
    """3 to 12 nodes held to ground by a tree of resistors; then batteries, diodes, bridges,
    potentiometers, windings, switches and relays held one way, wherever chance puts them.

    Batteries have 3 to 100 ohm, so that chance makes no loop of hundreds of amps: ngspice stops at
    a share (reltol) of the current, and 1e-12 of 200 A in 430 ohm to ground is 1e-7 V.
    """
    rng = random.Random(seed)
    nodes = ["0", *(f"n{i}" for i in range(1, rng.randint(3, 12)))]

    def pair() -> tuple[str, str]:
        a, b = rng.sample(nodes, 2)
        return a, b

    def ohms(low: float = -2, high: float = 5) -> float:
        return float(f"{10 ** rng.uniform(low, high):.6g}")

    elements: list[Element] = [
        Resistor(
            ref=f"R{i}", pins={"a": nodes[i], "b": nodes[rng.randrange(i)]}, ohms=ohms(-1, 2.5)
        )
        for i in range(1, len(nodes))
    ]
    for k in range(rng.randint(1, 3)):
        a, b = pair()
        volts, inside = round(rng.uniform(1.0, 60.0), 3), ohms(0.5, 2)
        elements.append(
            Battery(ref=f"B{k}", pins={"plus": a, "minus": b}, volts=volts, ohms=inside)
        )
    for k in range(rng.randint(2, 8)):
        elements.append(_chance(rng, k, nodes, pair, ohms))
    return Circuit(f"seed {seed}", "0", tuple(elements))


def _chance(rng, k, nodes, pair, ohms) -> Element:  # type: ignore[no-untyped-def]
    a, b = pair()
    kind = rng.choice(["diode", "diode", "resistor", "pot", "relay", "switch", "bridge", "winding"])
    drop, ideality = round(rng.uniform(0.3, 0.7), 3), round(rng.uniform(1.0, 2.0), 2)
    junctions = {"drop": drop, "ideality": ideality}
    if kind == "diode":
        return Diode(ref=f"X{k}", pins={"anode": a, "cathode": b}, **junctions)
    if kind == "resistor":
        return Resistor(ref=f"X{k}", pins={"a": a, "b": b}, ohms=ohms())
    if kind == "switch":
        closed = rng.random() < 0.5
        return Switch(ref=f"X{k}", pins={"a": a, "b": b}, ohms=ohms(-3, 0), closed=closed)
    if kind == "pot":
        wiper = rng.choice(nodes)
        position = round(rng.uniform(0.05, 0.95), 3)
        pins = {"a": a, "wiper": wiper, "b": b}
        return Potentiometer(
            ref=f"X{k}", pins=pins, ohms=ohms(1, 4), position=position, wiper_ohms=ohms(-1, 1)
        )
    if kind == "relay":
        com, no, nc = (rng.choice(nodes) for _ in range(3))
        pins = {"coil+": a, "coil-": b, "com": com, "no": no, "nc": nc}
        return Relay(
            ref=f"X{k}",
            pins=pins,
            coil_ohms=ohms(1, 3),
            pull_in=9.0,
            ohms=ohms(-3, -1),
            pulled=rng.random() < 0.5,
        )
    u, v, w = (rng.choice(nodes) for _ in range(3))
    if kind == "bridge":
        pins = {"plus": a, "minus": b, "u": u, "v": v, "w": w}
        return Bridge(ref=f"X{k}", pins=pins, **junctions)
    pins = {"u": u, "v": v, "w": w}
    return Winding3(ref=f"X{k}", pins=pins, ohms=ohms(-2, 1), delta=rng.random() < 0.5)


def deck(circuit: Circuit, vt: float = VT) -> str:
    """The network as ngspice reads it, element by element."""
    lines = [f"* {circuit.name}"]
    for element in circuit.elements:
        lines += _cards(element, vt)
    return "\n".join([*lines, OPTIONS, ".end"]) + "\n"


def _cards(element: Element, vt: float) -> list[str]:
    ref, pins = element.ref, element.pins
    if isinstance(element, Resistor):
        return [f"R{ref} {pins['a']} {pins['b']} {element.ohms!r}"]
    if isinstance(element, Battery):
        inside = f"{ref}_in"
        return [
            f"V{ref} {inside} {pins['minus']} {element.volts!r}",
            f"R{ref} {inside} {pins['plus']} {element.ohms!r}",
        ]
    if isinstance(element, Switch):
        return [f"R{ref} {pins['a']} {pins['b']} {element.ohms!r}"] if element.closed else []
    if isinstance(element, Potentiometer):
        upper, lower = element.ohms * element.position, element.ohms * (1 - element.position)
        return [
            f"R{ref}a {pins['a']} {ref}_t {upper!r}",
            f"R{ref}b {ref}_t {pins['b']} {lower!r}",
            f"R{ref}w {ref}_t {pins['wiper']} {element.wiper_ohms!r}",
        ]
    if isinstance(element, Relay):
        end = pins["no"] if element.pulled else pins["nc"]
        return [
            f"R{ref}c {pins['coil+']} {pins['coil-']} {element.coil_ohms!r}",
            f"R{ref}k {pins['com']} {end} {element.ohms!r}",
        ]
    if isinstance(element, Winding3):
        u, v, w = pins["u"], pins["v"], pins["w"]
        if element.delta:
            side = 1.5 * element.ohms
            ends = [(u, v), (v, w), (w, u)]
            return [f"R{ref}{i} {a} {b} {side!r}" for i, (a, b) in enumerate(ends)]
        return [f"R{ref}{i} {a} {ref}_s {element.ohms / 2!r}" for i, a in enumerate((u, v, w))]
    if isinstance(element, Diode):
        ends = [(pins["anode"], pins["cathode"])]
    elif isinstance(element, Bridge):
        phases = [pins["u"], pins["v"], pins["w"]]
        ends = [(p, pins["plus"]) for p in phases] + [(pins["minus"], p) for p in phases]
    else:
        raise TypeError(type(element).__name__)
    law = junction(element.drop, element.at_amps, element.ideality)
    model = f".model M{ref} d(is={law.saturation!r} n={law.nvt / vt!r})"
    return [model, *(f"D{ref}{i} {a} {b} M{ref}" for i, (a, b) in enumerate(ends))]


def thermal_volts(folder: Path) -> float:
    """kT/q of the ngspice installed, from a diode that is forced to a voltage."""
    text = f"* vt\nVa a 0 {_CAL_VOLTS!r}\nDa a 0 M\n.model M d(is={_CAL_SATURATION!r} n=1)\n"
    (amps,) = run_all(folder, {"vt": text + OPTIONS + "\n.end\n"}, "i(Va)")
    amps_forward = -amps["i(va)"] - GMIN * _CAL_VOLTS
    return _CAL_VOLTS / math.log1p(amps_forward / _CAL_SATURATION)


def run_all(folder: Path, decks: dict[str, str], show: str = "all") -> list[dict[str, float]]:
    """Every deck's operating point, by one ngspice process, as name -> value."""
    lines = ["* all", ".control", "set numdgt=15"]
    for name, text in decks.items():
        (folder / f"{name}.cir").write_text(text, encoding="utf-8")
        lines += [f"source {name}.cir", "op", f"echo begin {name}", f"print {show}", "remcirc"]
        lines.append("destroy all")
    (folder / "all.cir").write_text("\n".join([*lines, "quit", ".endc", ".end", ""]))
    command = ["ngspice", "-b", "all.cir"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    parts = re.split(r"^begin \S+\n", done.stdout, flags=re.MULTILINE)[1:]
    assert len(parts) == len(decks), done.stderr[-2000:]
    pattern = re.compile(r"^(\S+) = (\S+)$", re.MULTILINE)
    return [{name: float(value) for name, value in pattern.findall(part)} for part in parts]
