"""Where the leads of a reading were, as a picture of the wiring around them."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import replace

from knowngood.circuit.circuit import Cell, Circuit, standing
from knowngood.circuit.element import Element
from knowngood.documents.document import Drawing
from knowngood.drawing.svg import draw
from knowngood.machines.machine import Machine, Test
from knowngood.machines.reach import state_named
from knowngood.machines.wiring import Wiring

MOST_WAY = 12
"""Elements from one lead to the other beyond which only what touches the leads is drawn."""


def leads_drawing(machine: Machine, test: str) -> Drawing | None:
    """The wiring from lead to lead of this test and what touches it, R and B where they go; None
    for a test that is not taken with two leads in the wiring of the machine."""
    pair = lead_pair(machine, test)
    if machine.wires is None or pair is None:
        return None
    red, black = pair
    circuit = _standing(machine, machine.wires.circuit, _condition(machine, test))
    points = machine.wires.points
    if not {red, black} <= set(circuit.nodes):
        return None
    words = {p.node: p.words for p in points.values()}
    part = _around(circuit, red, black)
    reached = {*points, red, black}
    svg = draw(replace(part, name=machine.words), red=red, black=black, words=words,
               reached=reached)  # fmt: skip
    named = [words.get(n, n) for n in (red, black)]
    return Drawing(svg, f"Where the leads were: red (R, round) on {named[0]}, black (B, square) on"
                   f" {named[1]}. Only the wiring around them is drawn.")  # fmt: skip


def lead_pair(machine: Machine, test: str) -> tuple[str, str] | None:
    found: Test | None = next((t for t in machine.tests if t.id == test), None)
    if found is not None and found.probe is not None and found.probe.pairs:
        return found.probe.pairs[0]
    asked = test.split(":")  # two points asked for: ask:volts:CONDITION:RED:BLACK
    if asked[0] == "ask" and len(asked) == 5:
        red, black = (p.replace("%3A", ":").replace("%25", "%") for p in asked[3:])
        return red, black
    return None


def plugged_for(machine: Machine, tests: Iterable[str]) -> frozenset[str]:
    """Elements of the wiring that are plugged in the condition of at least one of these tests, of
    the file or asked for by two points; all where none of them is known."""
    if machine.wires is None:
        return frozenset()
    circuit = machine.wires.circuit
    asked = {_condition(machine, one) for one in tests}
    conditions = {one for one in asked if state_named(machine, one) is not None}
    there = [{e.ref for e in _standing(machine, circuit, one).elements} for one in conditions]
    return frozenset().union(*there) if there else frozenset(circuit.by_ref)


def standing_for(machine: Machine, test: str) -> Circuit:
    """The whole circuit, each element as it stands in the condition of this test. ValueError
    without a wiring."""
    if machine.wires is None:
        raise ValueError(f"{machine.id} has no circuit")
    return _stands(machine, machine.wires.circuit, _condition(machine, test))


def _condition(machine: Machine, test: str) -> str:
    found = next((t.condition for t in machine.tests if t.id == test), None)
    return found if found is not None else "".join(test.split(":")[2:3])


def _standing(machine: Machine, circuit: Circuit, condition: str) -> Circuit:
    """The circuit as it stands in this condition, without what is unplugged there."""
    circuit = _stands(machine, circuit, condition)
    return replace(circuit, elements=tuple(e for e in circuit.elements if e.plugged))


def _stands(machine: Machine, circuit: Circuit, condition: str) -> Circuit:
    state = state_named(machine, condition)
    if not isinstance(machine.wiring, Wiring) or state is None:
        return circuit
    machine.wiring.learn(state)  # one of the file with more taken off may be new to it
    states = machine.wiring.model.stands(condition)
    new = {e.ref: e for e in standing(circuit, Cell(states=states))}
    return replace(circuit, elements=tuple(new.get(e.ref, e) for e in circuit.elements))


def _around(circuit: Circuit, red: str, black: str) -> Circuit:
    """The elements on the shortest way between the two nodes, and those that touch either."""
    way = _way(circuit, red, black)
    kept = {e.ref for e in way} if len(way) <= MOST_WAY else set()
    kept |= {e.ref for e in circuit.elements if {red, black} & set(e.pins.values())}
    nodes = {n for r in kept for n in circuit.by_ref[r].pins.values()}
    ground = circuit.ground if circuit.ground in nodes else black
    elements = tuple(e for e in circuit.elements if e.ref in kept)
    return replace(circuit, elements=elements, ground=ground)


def _way(circuit: Circuit, red: str, black: str) -> list[Element]:
    """Elements of the shortest way, the fewest first found; none when there is no way."""
    touching: dict[str, list[Element]] = {}
    for element in circuit.elements:
        for node in element.pins.values():
            touching.setdefault(node, []).append(element)
    came: dict[str, tuple[str, Element] | None] = {red: None}
    queue = deque([red])
    while queue and black not in came:
        here = queue.popleft()
        for element in touching.get(here, ()):
            for node in element.pins.values():
                if node not in came:
                    came[node] = (here, element)
                    queue.append(node)
    found, here = [], black
    while (step := came.get(here)) is not None:
        here, element = step
        found.append(element)
    return found
