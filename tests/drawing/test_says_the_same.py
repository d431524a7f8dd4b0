"""The picture says what the circuit says: nodes are read back from the places of lines alone."""

from __future__ import annotations

import math
from collections.abc import Hashable

import pytest

from knowngood.circuit.circuit import Circuit
from knowngood.drawing.layout import Layout, Wire, lay_out
from tests.drawing.examples import BENCH, bench, series_parallel, tangle

Pins = frozenset[tuple[str, str]]


class Joined:
    def __init__(self) -> None:
        self.up: dict[Hashable, Hashable] = {}

    def root(self, one: Hashable) -> Hashable:
        while self.up.setdefault(one, one) != one:
            one = self.up[one]
        return one

    def join(self, a: Hashable, b: Hashable) -> None:
        self.up[self.root(a)] = self.root(b)


def on(at: tuple[float, float], wire: Wire) -> bool:
    (x0, x1), (y0, y1) = sorted((wire.a[0], wire.b[0])), sorted((wire.a[1], wire.b[1]))
    return x0 - 0.01 <= at[0] <= x1 + 0.01 and y0 - 0.01 <= at[1] <= y1 + 0.01


def read_back(layout: Layout) -> set[Pins]:
    """Pins that the lines join. Names of nodes are not looked at; numbers join flags."""
    joined = Joined()
    for k, wire in enumerate(layout.wires):
        for other, more in enumerate(layout.wires):
            if on(wire.a, more) or on(wire.b, more):
                joined.join(k, other)
    for number, (_, at) in enumerate(layout.dots):  # where two cross, only a dot joins them
        for k, wire in enumerate(layout.wires):
            if on(at, wire):
                joined.join(("dot", number), k)
    flags = {one.key: one for one in layout.placed if one.kind == "flag"}
    for pin in layout.pins:
        me: Hashable = (pin.ref, pin.pin)
        for k, wire in enumerate(layout.wires):
            if on(pin.at, wire):
                joined.join(me, k)
        for spot in layout.spots if pin.ref in flags else ():
            ends = [p for shape in flags[pin.ref].shapes for p in getattr(shape, "points", ())]
            if any(math.dist(spot.at, end) < 0.01 for end in ends):  # in the flag's own circle
                joined.join(me, ("number", spot.number))
    for spot in layout.spots:
        for k, wire in enumerate(layout.wires):
            if on(spot.at, wire):
                joined.join(("number", spot.number), k)
    groups: dict[Hashable, set[tuple[str, str]]] = {}
    for pin in layout.pins:
        group = groups.setdefault(joined.root((pin.ref, pin.pin)), set())
        if pin.ref not in flags:
            group.add((pin.ref, pin.pin))
    return {frozenset(group) for group in groups.values()}


def written(circuit: Circuit) -> set[Pins]:
    groups: dict[str, set[tuple[str, str]]] = {}
    for element in circuit.elements:
        for pin, node in element.pins.items():
            groups.setdefault(node, set()).add((element.ref, pin))
    return {frozenset(group) for group in groups.values()}


@pytest.mark.parametrize("width", [60, 180])
@pytest.mark.parametrize("name", BENCH)
def test_bench(name: str, width: float) -> None:
    circuit = bench(name)
    assert read_back(lay_out(circuit, width_mm=width)) == written(circuit)


@pytest.mark.parametrize("seed", range(8))
def test_random(seed: int) -> None:
    for circuit in (series_parallel(100 + seed, 30), tangle(100 + seed)):
        assert read_back(lay_out(circuit, width_mm=120)) == written(circuit)


def test_every_node_has_one_number_where_a_probe_can_go() -> None:
    circuit = bench("rider-start")
    layout = lay_out(circuit)
    first = [s for s in layout.spots if not s.again]
    assert sorted(s.node for s in first) == sorted(circuit.nodes)
    assert sorted(s.number for s in first) == list(range(len(circuit.nodes)))
    assert all(s.mark is not None for s in first)
    assert layout.number("B-") == 0 and layout.number("B+") == 1


def test_plus_is_left_of_all_it_feeds() -> None:
    layout = lay_out(bench("rider-start"), width_mm=400)
    x = {(p.ref, p.pin): p.at[0] for p in layout.pins}
    chain = ["BT1", "W1", "F1", "S1", "W3", "S2", "S3"]
    left = [min(v for (ref, _), v in x.items() if ref == one) for one in chain]
    assert left == sorted(left)
    assert x["K1", "com"] < x["K1", "no"] < x["M1", "a"]
