"""Does the wiring of a machine file make sense: points, probes, faults, floating circuits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final, get_args

from knowngood.circuit.circuit import Cell, standing
from knowngood.circuit.element import Element
from knowngood.machines.electric import Probing, Wires
from knowngood.machines.generate import dead_trouble, reachable
from knowngood.machines.joined import islands
from knowngood.machines.machine import Circumstance, Machine, Test
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.safety import Breach
from knowngood.machines.tree import Line
from knowngood.machines.wiring import Asked, Wiring

MOST_NAMED: Final = 6  # loose elements named one by one


def wiring_breaches(machine: Machine) -> Iterator[Breach]:
    """What must be mended, without solving anything. Ids of the file must lead somewhere."""
    if machine.wires is None:
        return
    yield from _names(machine, machine.wires)
    yield from floating_breaches(machine)
    conditions = {c.id: c for c in machine.conditions}
    for test in machine.tests:
        if test.probe is None:
            continue
        points = reachable(machine, conditions[test.condition])
        for node in dict.fromkeys(n for pair in test.probe.pairs for n in pair):
            if node not in machine.wires.points:
                yield (("tests", test.id, "probe"), f"{test.id} probes {node}, which is no point",
                       f"Add it to points of the circuit: {node}: {{words: ..., open: ...}}")
            elif node not in points:
                yield (("tests", test.id, "probe"),
                       f"{test.id} probes {node}, which {test.condition} does not allow",
                       _way_to(machine, node))


def reading_breaches(machine: Machine, wiring: Wiring) -> Iterator[Breach]:
    """Tests whose probe gives no reading on a good machine. ``machine`` is the file's own."""
    probed = [t for t in machine.tests if t.probe is not None]
    for test in probed:
        yield from _unsafe(wiring, test)
    asked = [Asked(t.probe, wiring.conditions[t.condition]) for t in probed if t.probe]
    for test, row in zip(probed, wiring.good_rows(asked), strict=True):
        if row.trouble and "" not in test.by_hand:
            yield (("tests", test.id, "probe"), f"{test.id} gives no reading: {row.trouble}",
                   "Choose other points, or a condition in which it can be taken")
        elif any(p.kind == "unsteady" for p in row.good.pieces) and "" not in test.by_hand:
            yield (("tests", test.id, "probe"), f"{test.id}: a good machine does not settle there",
                   "A capacitor climbs too long; choose other points")


def wiring_notes(machine: Machine) -> Iterator[Breach]:
    """What is worth knowing, of the wired machine: faults in the wiring that no reading shows, and
    points that no condition reaches."""
    if machine.wires is None:
        return
    shown = {f for t in machine.tests for f in t.expect}
    for fault in machine.faults:
        if fault.changes and fault.id not in shown:
            yield (("faults", fault.id, "circuit"), f"no probe shows the fault {fault.id}",
                   "Add a test with a probe near it, or take its circuit: out")
    seen: set[str] = set()
    for condition in machine.conditions:
        seen |= reachable(machine, condition).keys()
    for node in machine.wires.points:
        if node not in seen:
            yield (("circuit", "points", node), f"no condition reaches the point {node}",
                   "Add a condition with its steps open")


def _unsafe(wiring: Wiring, test: Test) -> Iterator[Breach]:
    """Dead tests across a source."""
    assert isinstance(test.probe, Probing)
    if test.probe.read not in ("ohms", "diode"):
        return
    for red, black in test.probe.pairs:
        live = [n for n in (red, black) if wiring.model.is_live(test.condition, n)]
        if live:
            trouble = dead_trouble(wiring, wiring.conditions[test.condition], red, black)
            yield (("tests", test.id, "probe"),
                   f"{test.id} measures {test.probe.read} at {live[0]}: {trouble}",
                   "Choose a condition in which the source is unplugged (states: of its step)")
            return


def _names(machine: Machine, wires: Wires) -> Iterator[Breach]:
    steps = [s.id for s in machine.teardown]
    for node, point in wires.points.items():
        for key, ids in (("open", point.open), ("closed", point.closed)):
            for id in ids:
                if id not in steps:
                    yield (("circuit", "points", node, key),
                           f"the point {node} names {id}, which is not among teardown",
                           did_you_mean(id, steps))
    known = [*get_args(Circumstance), *(c.id for c in machine.conditions)]
    for fault in machine.faults:
        for change in fault.changes:
            for name in (*change.when, *change.unless):
                if name not in known:
                    yield (("faults", fault.id, "circuit"),
                           f"{fault.id} acts in {name}, which is no condition or circumstance",
                           did_you_mean(name, known))


def floating_breaches(machine: Machine) -> Iterator[Breach]:
    """Elements that nothing ties to the ground even with every switch closed and all plugged in:
    once for what hangs together, at the line of the first. Of a variant, at its own line: that of
    an element it writes, else that of what it changed and so cut off elements of its family."""
    wires, lines = machine.wires, machine.lines
    if wires is None:
        return
    all_in: dict[str, Element] = {}
    states = {e.ref: True for e in wires.circuit.elements}
    for element in standing(wires.circuit, Cell(states=states)):
        all_in[element.ref] = replace(element, plugged=True)
    label = islands(wires.circuit, all_in)
    ground = label[wires.circuit.ground]
    loose: dict[int, list[int]] = {}
    for at, e in enumerate(wires.circuit.elements):
        if e.pins and all(label[n] != ground for n in e.pins.values()):
            loose.setdefault(label[next(iter(e.pins.values()))], []).append(at)
    for group in loose.values():
        own = [n for n in group if not isinstance(lines.get(_element(n)), Line)]
        place: tuple[str, ...] = ("circuit", "elements", str((own or group)[0]))
        if not own and (changed := _changed_by_variant(lines)):
            place = tuple(changed.split("."))
        named = [_with_line(wires.circuit.elements[n].ref, lines.get(_element(n)))
                 for n in group[:MOST_NAMED]]  # fmt: skip
        more = f" and {len(group) - MOST_NAMED} more" if len(group) > MOST_NAMED else ""
        nodes = dict.fromkeys(n for g in group for n in wires.circuit.elements[g].pins.values())
        yield (place, f"{', '.join(named)}{more} {'are' if len(group) > 1 else 'is'} not joined to"
               f" {wires.circuit.ground} even with every switch closed",
               f"Check the nodes of the pins: nothing else is on {', '.join(list(nodes)[:6])}")


def _element(n: int) -> str:
    return f"circuit.elements.{n}"


def _with_line(ref: str, line: int | None) -> str:
    """An element, with its file and line where that is the family's."""
    return f"{ref} ({line.file} line {int(line)})" if isinstance(line, Line) else ref


def _changed_by_variant(lines: Mapping[str, int]) -> str:
    """The first thing that a variant itself writes about the elements; "" where it writes none."""
    if not any(isinstance(line, Line) for line in lines.values()):
        return ""
    own = [p for p, line in lines.items() if not isinstance(line, Line)
           and (p.startswith(("circuit.elements.", "drop.elements")) or p == "drop.elements")]
    return min(own, key=lambda p: lines[p], default="")


def _way_to(machine: Machine, node: str) -> str:
    able = [c.id for c in machine.conditions if node in reachable(machine, c)]
    if able:
        return f"It can be reached in {', '.join(able[:4])}"
    point = machine.wires.points[node] if machine.wires else None
    steps = ", ".join(point.open) if point else ""
    return f"No condition reaches it; add one with {steps} open" if steps else "Add a condition"
