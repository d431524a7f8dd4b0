"""Which tests the wiring offers: none that another makes needless, the most telling first."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import permutations

import pytest

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.machines import generate
from knowngood.machines.check import read_machine
from knowngood.machines.electric import Probing
from knowngood.machines.machine import Condition, Machine, Test
from knowngood.machines.safety import with_needs
from knowngood.machines.wire import wire
from knowngood.machines.wiring import RowForecast, Wiring
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


STORING = WIRED.replace(
    "    - {ref: S1,",
    "    - {ref: C1, kind: capacitor, pins: {a: F, b: B-}, farads: 470 uF}\n    - {ref: S1,",
).replace(
    "conditions:\n",
    "  shown: {words: Capacitor shown discharged, minutes: 1, back_minutes: 0,"
    " needs: [pack_out, lid], role: discharge}\nconditions:\n"
    '  safe: {words: "lid off, pack out, capacitor measured", open: [pack_out, lid, shown]}\n',
)


@cache
def storing() -> tuple[Wiring, dict[str, Condition]]:
    """The heater with a capacitor past its fuse, and its conditions."""
    machine, problems = read_machine(STORING, "storing")
    assert machine is not None, problems
    return Wiring(machine, None), {c.id: c for c in machine.conditions}


@pytest.mark.parametrize("pair", [("F", "S"), ("S", "F"), ("B-", "S"), ("S", "B-")])
def test_no_ohms_where_a_capacitor_is_not_shown_discharged(pair: tuple[str, str]) -> None:
    """Whichever lead is on it; with the switch let go the heater's plus hangs on it by its minus.
    Ohms across a charged capacitor harm the meter (common practice, and every meter's manual)."""
    wiring, conditions = storing()
    assert generate.dead_trouble(wiring, conditions["idle"], *pair) == (
        "a capacitor there is not shown discharged: first capacitor shown discharged"
    )
    assert generate.dead_trouble(wiring, conditions["safe"], *pair) == ""


def test_no_ohms_while_a_source_is_connected_whatever_the_points() -> None:
    wiring, conditions = storing()
    safe = conditions["safe"]
    for live in (
        replace(safe, energised=True),  # fed in another way, the pack out
        replace(safe, open=("lid",)),
    ):
        trouble = generate.dead_trouble(wiring, live, "F", "S")
        assert trouble.startswith("a source is connected in this condition")
        assert trouble.endswith(": first pack out") == ("pack_out" not in live.open)
    for pair in (("P+", "F"), ("F", "P+")):  # the pack's own contacts
        assert "a source is connected" in generate.dead_trouble(wiring, safe, *pair)


def test_a_reading_that_good_machines_do_not_hold_still_is_no_test() -> None:
    steady = Piece("around", 1.0, 1.0, 0.5)
    climbing = Piece("unsteady", 0.0, 5.0, 0.5)
    assert generate._settles(RowForecast(Forecast((steady,)), {}))
    assert not generate._settles(RowForecast(Forecast((steady, climbing)), {}))
    assert generate._settles(RowForecast(Forecast((steady,)), {"f": Forecast((climbing,))}))


def test_a_fault_shown_alone_counts_for_more_than_all_pairs_parted() -> None:
    """With room for one: what orders a part is a reading that nothing else gives."""
    wiring, _ = storing()
    machine = wiring.machine
    three = tuple(replace(machine.faults[n], weight=1.0) for n in (0, 1, 5))
    assert len({f.parts for f in three}) == 3
    judge = generate._Judge(replace(machine, faults=three))
    near, far = ("value", 0.0, 1.0, 1.0), ("value", 5.0, 6.0, 1.0)
    test = machine.tests[0]

    def candidate(labels: tuple[int, int, int], good: int, *shows: object) -> object:
        return generate._Candidate(test, 1.0, frozenset(), labels, good,
                                   tuple((s,) for s in shows), 1.0)  # type: ignore[misc]  # fmt: skip

    parts_all = candidate((0, 1, 2), 3, near, near, near, near)
    shows_one = candidate((0, 1, 1), 1, far, near, near, near)
    assert judge.best([parts_all, shows_one], [], 1) == [shows_one]  # type: ignore[list-item]


def test_points_asked_with_more_taken_off_wait_as_the_state_itself_does() -> None:
    machine, _ = read_machine(WIRED, "wired")
    assert machine is not None
    tests = tuple(replace(t, after=("loop_ohms",)) if t.id == "heater_volts" else t
                  for t in machine.tests)  # fmt: skip
    machine = replace(machine, tests=tests)
    live = next(c for c in machine.conditions if c.id == "live")
    probing = Probing("volts", (("F", "S"),))
    for state in (live, replace(live, id="live+foot_plate")):
        made = generate.made_test(machine, state, probing)
        assert made.after == ("loop_ohms",), state.id
    dead = next(c for c in machine.conditions if c.id == "dead")
    assert generate.made_test(machine, dead, Probing("ohms", (("F", "S"),))).after == ()
