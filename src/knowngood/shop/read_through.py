"""What lies between the two leads of a dead test: plugs that must be together, things in series.

Only what conducts when it is whole and closed counts (wires, fuses, switches, resistors); what
interrupts every way from lead to lead when it is taken away lies between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from knowngood.circuit.element import Element
from knowngood.machines.machine import Machine, Test

_LEADS: Final = ("wire", "fuse", "switch", "resistor")


@dataclass(frozen=True, slots=True)
class Between:
    """``plugs``: connections, as the wiring names them; ``switches``: refs of switches."""

    plugs: frozenset[str] = frozenset()
    switches: frozenset[str] = frozenset()


def between(machine: Machine, test: Test) -> Between:
    """What the leads of a test read through; nothing without a wiring or without a way."""
    wires = machine.wires
    condition = next((c for c in machine.conditions if c.id == test.condition), None)
    if wires is None or test.probe is None or condition is None:
        return Between()
    steps = {t.id: t.states for t in machine.teardown}
    apart = {name for step in condition.open for name in steps.get(step, {})}
    added = {ref for ref, state in wires.states.items()
             if state is False and condition.states.get(ref) is not True}  # fmt: skip
    there = [e for e in wires.circuit.elements
             if e.KIND in _LEADS and apart.isdisjoint(e.through)
             and not (e.KIND == "wire" and e.ref in added)]  # fmt: skip
    plugs: set[str] = set()
    switches: set[str] = set()
    for red, black in test.probe.pairs:
        if not _leads(there, red, black):
            continue
        for plug in {name for e in there for name in e.through}:
            if not _leads((e for e in there if plug not in e.through), red, black):
                plugs.add(plug)
        for one in (e for e in there if e.KIND == "switch"):
            if not _leads((e for e in there if e is not one), red, black):
                switches.add(one.ref)
    return Between(frozenset(plugs), frozenset(switches))


def steps_that_part(machine: Machine, plugs: Iterable[str]) -> frozenset[str]:
    """Steps of the teardown with which one of these connections is parted."""
    wanted = frozenset(plugs)
    return frozenset(t.id for t in machine.teardown if not wanted.isdisjoint(_parts(t.states)))


def _parts(states: Mapping[str, object]) -> set[str]:
    return {name for name, state in states.items() if state is False}


def _leads(elements: Iterable[Element], red: str, black: str) -> bool:
    """Whether something leads from one node to the other."""
    groups = [set(e.pins.values()) for e in elements]
    reached = {red}
    grew = True
    while grew:
        grew = False
        for nodes in groups:
            if not reached.isdisjoint(nodes) and not nodes <= reached:
                reached |= nodes
                grew = True
    return black in reached
