"""What taking a test undoes for good, and which later readings say nothing of it.

A pack filled on the shop's charger for one test is full at the next one too, whatever the
customer's charger does: no later volts of that pack clear or blame it. What the machine itself does
meanwhile fills nothing: a battery stands at the volts of a running engine and is as flat as before.
Nor does a full pack mend the charger: a test of the charger itself reads as it did.
"""

from __future__ import annotations

from collections.abc import Mapping

from knowngood.machines.joined import main_source
from knowngood.machines.machine import Condition, Fault, Machine, Test


def undone_by(machine: Machine) -> Mapping[str, frozenset[str]]:
    """Test -> faults that its condition undoes: it sets anew a value that the fault had set, and
    neither the fault nor the machine itself acts in it."""
    conditions = {c.id: c for c in machine.conditions}
    found = {}
    for test in machine.tests:
        condition = conditions.get(test.condition)
        if condition is None or not condition.spreads or condition.does:
            continue
        gone = frozenset(f.id for f in machine.faults if _undone(f, condition))
        if gone:
            found[test.id] = gone
    return found


def still_told(
    machine: Machine, undoes: Mapping[str, frozenset[str]]
) -> Mapping[str, frozenset[str]]:
    """Test -> faults that it tells after ``undoes``, too: it uses a part of theirs, and what undid
    them other parts. Only what the file writes counts: where it is silent, all were worked on."""
    conditions = {c.id: c for c in machine.conditions}
    uses = {t.id: _uses(t, conditions.get(t.condition)) for t in machine.tests}
    found = {}
    for test, mine in uses.items():
        told = frozenset(
            f.id for f in machine.faults
            if mine and (by := [uses[t] for t, gone in undoes.items() if f.id in gone])
            and all(on is not None and mine.intersection(f.parts) - on for on in by)
        )  # fmt: skip
        if told:
            found[test] = told
    return found


def filled_by(machine: Machine) -> frozenset[str]:
    """Tests after which the main source stands elsewhere than it came: their condition sets it."""
    if machine.wires is None or (source := main_source(machine.wires)) is None:
        return frozenset()
    filled = {c.id for c in machine.conditions if source in c.spreads and not c.does}
    return frozenset(t.id for t in machine.tests if t.condition in filled)


def _uses(test: Test, condition: Condition | None) -> frozenset[str] | None:
    """The parts that the file says are measured, charged, loaded or plugged in; None: it says
    nothing."""
    said = test.uses if test.uses is not None or condition is None else condition.uses
    return None if said is None else frozenset(said)


def _undone(fault: Fault, condition: Condition) -> bool:
    sets = any(c.value in condition.spreads for c in fault.changes if c.value)
    return sets and not any(c.acts(condition.id, condition.circumstance) for c in fault.changes)
