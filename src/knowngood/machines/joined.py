"""What hangs together in a circuit as it stands, and which source feeds it."""

from __future__ import annotations

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.element import Element
from knowngood.circuit.laws import Open
from knowngood.machines.design import is_range, value_at
from knowngood.machines.electric import Wires


def main_source(wires: Wires) -> str | None:
    """Of the packs and batteries whose volts differ from machine to machine the one with most
    volts, as the key of its span; None: there is none."""
    batteries = {f"{e.ref}.volts" for e in wires.circuit.elements if e.KIND == "battery"}
    middle = {k: value_at(s, 0.5) for k, s in wires.spreads.items()
              if k in batteries and is_range(s)}  # fmt: skip
    return max(middle, key=lambda k: middle[k], default=None)


def islands(circuit: Circuit, elements: dict[str, Element]) -> dict[str, int]:
    """Node -> a label of what hangs together; whatever may join counts as joined."""
    parent = {n: n for n in circuit.nodes}

    def root(n: str) -> str:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    for element in elements.values():
        if not element.plugged or is_open(element):
            continue
        first, *others = element.pins.values()
        for other in others:
            parent[root(other)] = root(first)
    labels = {r: n for n, r in enumerate(dict.fromkeys(root(n) for n in circuit.nodes))}
    return {n: labels[root(n)] for n in circuit.nodes}


def phases_of(elements: dict[str, Element]) -> tuple[set[str], bool]:
    """(nodes that the phases of bridges lead to, whether they lead back to a rail)."""
    bridges = [e for e in elements.values() if e.KIND == "bridge" and e.plugged]
    reached = {e.pins[p] for e in bridges for p in "uvw"}
    others = [set(e.pins.values()) for e in elements.values()
              if e.KIND != "bridge" and e.plugged and not is_open(e)]  # fmt: skip
    growing = True
    while growing:
        more = {n for nodes in others if nodes & reached for n in nodes} - reached
        reached |= more
        growing = bool(more)
    rails = {e.pins[p] for e in bridges for p in ("plus", "minus")}
    return reached, bool(rails & reached)


def is_open(element: Element) -> bool:
    branches = element.branches()
    if element.rule() is not None or len(branches) != 1:
        return False
    law = branches[0].law
    return isinstance(law, Open) and not law.farads
