"""Which tests the wiring offers: none that another makes needless, the most telling first."""

from __future__ import annotations

from itertools import permutations

import pytest

from knowngood.machines import generate
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine, Test
from knowngood.machines.safety import with_needs
from knowngood.machines.wire import wire
from tests.machines.wired import WIRED


def wired(most: int, monkeypatch: pytest.MonkeyPatch) -> Machine:
    monkeypatch.setattr(generate, "MOST", most)
    machine, problems = read_machine(WIRED + f"# at most {most}\n", "wired")  # of its own digest
    assert machine is not None, problems
    return wire(machine, None)


def parting(machine: Machine, test: Test) -> list[object]:
    """What each fault reads, good last."""
    return [*(test.expect.get(f.id, test.good) for f in machine.faults), test.good]


def opens(machine: Machine, test: Test) -> tuple[frozenset[str], float]:
    """What must be open for a test, and its minutes with all of it."""
    condition = next(c for c in machine.conditions if c.id == test.condition)
    steps = {s.id: s for s in machine.teardown}
    opened = with_needs(steps, condition.open)
    return opened, test.minutes + sum(steps[s].minutes + steps[s].back_minutes for s in opened)


def makes_needless(machine: Machine, one: Test, other: Test) -> bool:
    """One parts whatever the other parts, is no dearer and no harder to reach."""
    mine, its = parting(machine, one), parting(machine, other)
    finer = all(its[i] == its[j] for i in range(len(mine)) for j in range(i) if mine[i] == mine[j])
    (mine_open, mine_price), (its_open, its_price) = opens(machine, one), opens(machine, other)
    return finer and mine_open <= its_open and mine_price <= its_price


def test_no_test_worked_out_is_made_needless_by_another(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = wired(60, monkeypatch)
    made = [t for t in machine.tests if t.generated]
    assert made
    for one, other in permutations(machine.tests, 2):
        if other.generated:
            assert not makes_needless(machine, one, other), (one.id, other.id)


def test_with_room_for_one_it_is_the_one_that_shows_what_none_did(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No written test sees the welded switch: let go, the ohms past it show it alone."""
    declared = wired(0, monkeypatch).tests
    assert not any("switch_stuck" in t.expect for t in declared)
    (made,) = [t for t in wired(len(declared) + 1, monkeypatch).tests if t.generated]
    assert made.condition == "idle" and made.quantity == "ohms"
    assert made.good.pieces[0].kind == "over" and set(made.expect) == {"switch_stuck"}
