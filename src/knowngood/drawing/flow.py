"""From plus to return: which way each element lies, and in which column.

The circuit is solved once with every path as one ohm and the machine's own battery, the first of
the file, as one volt, which puts a height to each node; elements lie downhill from left to right,
other sources (a stator, a supply of the shop) too. What is the shop's has no say in the heights: a
jumper past a chain would turn the chain around. A column is further right than all that feeds it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.element import Element
from knowngood.drawing.gear import is_gear
from knowngood.drawing.place import Apart, Span, places
from knowngood.drawing.symbols import Side

_PAIRS: Mapping[str, tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]] = {
    "relay": ((("com",), ("no", "nc")), (("coil+",), ("coil-",))),
    "potentiometer": ((("a",), ("b",)),),
    "diode": ((("anode",), ("cathode",)),),
    "battery": ((("plus",), ("minus",)),),
}
_OWN: Mapping[str, Side] = {"minus": "L", "plus": "R"}
_FIXED: Mapping[str, Mapping[str, Side]] = {
    "winding3": {"u": "L", "v": "L", "w": "L"},
    "bridge": {"plus": "L", "minus": "L", "u": "R", "v": "R", "w": "R"},
    "module": {"plus": "L", "minus": "L", "enable": "L", "out": "R"},
    "potentiometer": {"wiper": "R"},
}


@dataclass(frozen=True, slots=True)
class Flow:
    """`sides`: element -> pin -> side. `column`: element -> number from 0 at the left.
    `main`: the nodes of the longest way from plus to return."""

    sides: Mapping[str, Mapping[str, Side]]
    column: Mapping[str, int]
    main: frozenset[str]


def flow(circuit: Circuit) -> Flow:
    order = _downhill(circuit)
    own = _own(circuit)
    sides = {e.ref: _sides(e, order, e is own) for e in circuit.elements}
    links = _acyclic(circuit, sides, order)
    return Flow(sides, _columns(circuit, sides, links), _main(circuit, sides, links))


def _own(circuit: Circuit) -> Element | None:
    """The battery of the machine."""
    found = [e for e in circuit.elements if e.KIND == "battery"]
    return next((e for e in found if not is_gear(e)), found[0] if found else None)


def _downhill(circuit: Circuit) -> dict[str, int]:
    """Rank of each node: plus first, return last."""
    names = list(circuit.nodes)
    for element in circuit.elements:
        names += [n for b in element.branches() for n in (b.a, b.b)]
    index = {name: k for k, name in enumerate(dict.fromkeys(names))}
    g = np.eye(len(index)) * 1e-9
    amps = np.zeros(len(index))
    near: dict[str, list[str]] = {name: [] for name in index}
    starts: list[str] = []
    own = _own(circuit)
    for element in circuit.elements:
        source = element is own
        if is_gear(element) and not source:
            continue
        if source:
            starts.append(element.pins["plus"])
        for branch in element.branches():
            a, b, siemens = index[branch.a], index[branch.b], 1e3 if source else 1.0
            g[[a, b], [a, b]] += siemens
            g[[a, b], [b, a]] -= siemens
            if source:  # a battery's branch runs from minus to plus
                amps[[a, b]] += (-siemens, siemens)
            else:
                near[branch.a].append(branch.b)
                near[branch.b].append(branch.a)
    g[index[circuit.ground], index[circuit.ground]] += 1e6
    height = np.round(np.linalg.solve(g, amps), 6)
    steps = _steps(near, starts or list(circuit.nodes[1:2]), circuit.ground)
    far = len(index)
    ranked = sorted(
        index,
        key=lambda n: (n == circuit.ground, -height[index[n]], steps.get(n, far), index[n]),
    )
    return {name: k for k, name in enumerate(ranked)}


def _steps(near: Mapping[str, list[str]], starts: list[str], ground: str) -> dict[str, int]:
    found = {name: 0 for name in starts if name != ground}
    queue = deque(found)
    while queue:
        here = queue.popleft()
        for there in near[here]:
            if there not in found and there != ground:
                found[there] = found[here] + 1
                queue.append(there)
    return found


def _sides(element: Element, order: Mapping[str, int], own: bool) -> dict[str, Side]:
    if own:
        return dict(_OWN)
    sides: dict[str, Side] = {}
    fixed = _FIXED.get(element.KIND, {})
    default = () if fixed and element.KIND != "potentiometer" else (((("a",), ("b",))),)
    for ins, outs in _PAIRS.get(element.KIND, default):
        ends_in = [order[element.pins[n]] for n in ins if n in element.pins]
        ends_out = [order[element.pins[n]] for n in outs if n in element.pins]
        forward = not ends_in or not ends_out or min(ends_in) <= min(ends_out)
        if element.KIND == "potentiometer" and not (ends_in and ends_out):
            forward = bool(ends_in)  # one end alone: it lies on the left
        for names, side in ((ins, "L" if forward else "R"), (outs, "R" if forward else "L")):
            sides.update({n: side for n in names if n in element.pins})  # type: ignore[misc]
    sides.update({n: side for n, side in fixed.items() if n in element.pins})
    return sides


def _acyclic(
    circuit: Circuit, sides: dict[str, dict[str, Side]], order: Mapping[str, int]
) -> list[tuple[str, str]]:
    """Pairs (feeds, fed) of elements without a ring. A module's enable that would close one moves
    to the right side of its box."""
    fed: dict[str, list[tuple[str, str]]] = {}
    for element in circuit.elements:
        for pin, node in element.pins.items():
            if sides[element.ref][pin] == "L" and node != circuit.ground:
                fed.setdefault(node, []).append((element.ref, pin))
    links: list[tuple[str, str]] = []
    state: dict[str, int] = {}

    def visit(ref: str) -> None:
        state[ref] = 1
        element = circuit.by_ref[ref]
        outs = {n for p, n in element.pins.items() if sides[ref][p] == "R" and n != circuit.ground}
        for node in sorted(outs, key=lambda n: order[n]):
            for other, pin in fed.get(node, []):
                if other == ref or state.get(other) == 1:
                    if pin == "enable":
                        sides[other][pin] = "R"
                    continue
                links.append((ref, other))
                if other not in state:
                    visit(other)
        state[ref] = 2

    first = sorted(
        circuit.elements,
        key=lambda e: (e is not _own(circuit), min(order[n] for n in e.pins.values())),
    )
    for element in first:
        if element.ref not in state:
            visit(element.ref)
    return list(dict.fromkeys(links))


def _columns(
    circuit: Circuit, sides: Mapping[str, Mapping[str, Side]], links: list[tuple[str, str]]
) -> dict[str, int]:
    number = {e.ref: k for k, e in enumerate(circuit.elements)}
    apart = [Apart(number[a], number[b], 1) for a, b in links]
    ends: dict[str, list[tuple[int, int]]] = {}
    for element in circuit.elements:
        for pin, node in element.pins.items():
            if node != circuit.ground:
                end = (number[element.ref], int(sides[element.ref][pin] == "R"))
                ends.setdefault(node, []).append(end)
    spans = [Span(1.0, tuple(dict.fromkeys(e))) for e in ends.values() if len(set(e)) > 1]
    found = places(len(number), apart, spans)
    assert found is not None, "links without a ring have a solution"
    return {ref: found[k] for ref, k in number.items()}


def _main(
    circuit: Circuit, sides: Mapping[str, Mapping[str, Side]], links: list[tuple[str, str]]
) -> frozenset[str]:
    after: dict[str, list[str]] = {}
    for a, b in links:
        after.setdefault(a, []).append(b)
    best: dict[str, tuple[int, str]] = {}

    def length(ref: str) -> int:
        if ref not in best:
            ways = [(1 + length(b), b) for b in after.get(ref, [])]
            best[ref] = max(ways, key=lambda way: way[0], default=(1, ""))
        return best[ref][0]

    own = _own(circuit)
    ref = own.ref if own else max(circuit.by_ref, key=length, default="")
    length(ref) if ref else None
    nodes: set[str] = set()
    while ref:
        nodes |= {n for n in circuit.by_ref[ref].pins.values() if n != circuit.ground}
        ref = best[ref][1]
    return frozenset(nodes)
