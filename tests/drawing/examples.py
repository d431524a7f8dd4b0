"""Circuits to draw: the shop's three from docs/pictures, and random ones by seed."""

from __future__ import annotations

import random
from pathlib import Path

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.device import KINDS
from knowngood.circuit.element import Element
from knowngood.circuit.netlist import parse_circuit

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "pictures"
BENCH = ("rider-start", "mower-56v", "hedge-36v")
LONGEST = "main relay on the left-hand frame rail"
TWO_ENDS = ["resistor", "lamp", "fuse", "wire", "switch", "diode", "capacitor", "thermistor"]
VALUES: dict[str, dict[str, float]] = {
    "resistor": {"ohms": 47.0},
    "lamp": {"volts": 12.0, "watts": 5.0},
    "fuse": {"rating": 20.0},
    "capacitor": {"farads": 1e-6},
    "thermistor": {"ohms": 1e4},
    "potentiometer": {"ohms": 5e3},
    "relay": {"coil_ohms": 80.0, "pull_in": 8.0},
    "battery": {"volts": 12.0},
    "winding3": {"ohms": 0.1},
    "module": {"alive_above": 5.0},
}


def bench(name: str) -> Circuit:
    return parsed((FOLDER / f"{name}.yaml").read_text(encoding="utf-8"))


def parsed(text: str) -> Circuit:
    circuit, problems = parse_circuit(text)
    assert circuit is not None, problems
    return circuit


def made(kind: str, ref: str, pins: dict[str, str], **more: object) -> Element:
    return KINDS[kind](ref=ref, pins=pins, **VALUES.get(kind, {}), **more)  # type: ignore[arg-type]


class Maker:
    """Makes a circuit from a seed."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.elements: list[Element] = [made("battery", "BT1", {"plus": "B+", "minus": "B-"})]
        self.nodes = 0

    def node(self) -> str:
        self.nodes += 1
        return self.rng.choice([f"N{self.nodes}", f"N{self.nodes}", f"C{self.nodes}.4"])

    def add(self, kind: str, pins: dict[str, str]) -> None:
        more: dict[str, object] = {"words": self.rng.choice(["", "blade switch", LONGEST])}
        if kind in TWO_ENDS and self.rng.random() < 0.15:
            more["through"] = ("C9",)
        if kind == "wire":
            more["colour"] = self.rng.choice(["", "red", "yellow/green"])
        self.elements.append(made(kind, f"{kind[0].upper()}{len(self.elements)}", pins, **more))

    def between(self, a: str, b: str) -> None:
        """One element of any kind from a to b."""
        kind = self.rng.choice([*TWO_ENDS, "relay", "potentiometer"])
        if kind == "relay":
            pins = {"com": a, "no": b, "coil+": a, "coil-": "B-"}
            self.add(kind, pins | ({"nc": self.node()} if self.rng.random() < 0.5 else {}))
        elif kind == "potentiometer":
            self.add(kind, {"a": a, "b": b, "wiper": self.node()})
        else:
            self.add(kind, {"anode": a, "cathode": b} if kind == "diode" else {"a": a, "b": b})

    def build(self, a: str, b: str, size: int, series: bool) -> None:
        """`size` elements from a to b, in series and parallel by turns."""
        if size == 1:
            self.between(a, b)
            return
        parts = self.rng.randint(2, min(4, size))
        cuts = [0, *sorted(self.rng.sample(range(1, size), parts - 1)), size]
        ends = [a, *(self.node() for _ in range(parts - 1)), b]
        for k in range(parts):
            here = (ends[k], ends[k + 1]) if series else (a, b)
            self.build(*here, cuts[k + 1] - cuts[k], not series)

    def circuit(self, name: str) -> Circuit:
        return Circuit(name, "B-", tuple(self.elements))


def series_parallel(seed: int, most: int = 60) -> Circuit:
    """Up to `most` elements from plus to return."""
    maker = Maker(seed)
    maker.build("B+", "B-", maker.rng.randint(3, most - 1), True)
    return maker.circuit(f"seed {seed}")


def tangle(seed: int) -> Circuit:
    """Ten to thirty elements with their pins on any nodes: rings, bridges and islands."""
    maker = Maker(seed)
    rng = maker.rng
    nodes = ["B+", "B-", *(maker.node() for _ in range(rng.randint(4, 14)))]
    for _ in range(rng.randint(9, 29)):
        kind = rng.choice([*TWO_ENDS, "relay", "potentiometer", "winding3", "bridge", "module"])
        cls = KINDS[kind]
        if kind == "module":
            pins = ["plus", "minus", "out"]
        else:
            pins = [*cls.PINS, *(p for p in cls.MAYBE if rng.random() < 0.7)]
            if kind == "potentiometer" and len(pins) == 1:
                pins.append("a")
        maker.add(kind, {pin: rng.choice(nodes) for pin in pins})
    return maker.circuit(f"tangle {seed}")
