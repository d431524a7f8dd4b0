"""What must be back together first: no test is read with something apart that changes it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knowngood.diagnosis.steps import way_there
from knowngood.machines.left_open import back_first
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from knowngood.machines.safety import with_dependents, with_needs
from knowngood.machines.shipped import load_shipped
from knowngood.machines.wiring import Asked, Wiring
from knowngood.places.library import shipped_machines
from tests.families import each


def machine_of(name: str) -> Machine:
    machine, problems = parse_machine(load_shipped(name), name)
    assert machine is not None, problems
    return machine


def closed_up(machine: Machine) -> Machine:
    """With what the declared tests need back; the further ones are left out, for time."""
    if machine.wires is None:
        return machine
    tests = Wiring(machine, None).filled(machine.tests)
    back = back_first(machine, None, tests)
    return replace(machine, tests=tuple(replace(t, back_first=back.get(t.id, ())) for t in tests))


@pytest.mark.parametrize("name", each(shipped_machines()))
def test_no_step_left_done_changes_a_healthy_reading(name: str) -> None:
    """Every pair of a step and a test: solved in the state that stands after the way there."""
    machine = closed_up(machine_of(name))
    if machine.wires is None:
        return
    steps = {s.id: s for s in machine.teardown}
    wiring = Wiring(machine, None)
    asked, plain, names = [], [], []
    for test in (t for t in machine.tests if t.probe is not None):
        state = machine.state_of(test)
        own = with_needs(steps, state.open)
        for step in machine.teardown:
            before = with_needs(steps, (step.id,))
            way = way_there(machine, state, before)
            stands = (before | own) - {s.id for s in way.back} - set(state.closed)
            stands = {s for s in stands if not with_needs(steps, (s,)) & set(state.closed)}
            if stands == own or test.probe is None:
                continue
            made = replace(state, id=f"{state.id}+{test.id}+{step.id}", open=tuple(stands))
            wiring.learn(made)
            asked.append(Asked(test.probe, made))
            plain.append(Asked(test.probe, wiring.conditions[state.id]))
            names.append((test, step.id))
    once = list(dict.fromkeys((a.condition.id, a.probing) for a in plain))
    by_id = {c: wiring.conditions[c] for c, _ in once}
    solved = wiring.good_rows([Asked(p, by_id[c]) for c, p in once])
    good = dict(zip(once, (r.good for r in solved), strict=True))
    wrong = []
    rows = wiring.good_rows(asked)
    for (test, step_id), was, row in zip(names, plain, rows, strict=True):
        forecast = good[was.condition.id, was.probing]
        doubt = max(wiring.doubt_at(test, forecast), 1e-6)
        same = len(forecast.pieces) == len(row.good.pieces) and all(
            p.kind == q.kind and abs(p.low - q.low) <= max(doubt, 0.02 * abs(p.low))
            and abs(p.high - q.high) <= max(doubt, 0.02 * abs(p.high))
            for p, q in zip(forecast.pieces, row.good.pieces, strict=True)
        )  # fmt: skip
        if not same:
            wrong.append((test.id, step_id))
    assert wrong == [] and asked


def test_the_handle_harness_of_the_mower_goes_together_first() -> None:
    """A parted fold plug and leads off the tabs read over range: plain series continuity."""
    machine = closed_up(machine_of("mower-battery-56v"))
    tests = {t.id: t for t in machine.tests}
    apart = frozenset({"pack_out", "cover", "cap_safe", "switch_plug", "fold_sleeve", "console"})
    for id, back in (
        ("chain_bend", {"fold_sleeve", "console"}),
        ("chain_ohms", {"fold_sleeve", "console"}),
        ("chain_released", {"fold_sleeve", "console"}),  # else a stuck switch could not be seen
        ("harness_wires", {"fold_sleeve"}),
        ("upper_half", {"console"}),
    ):
        way = way_there(machine, machine.state_of(tests[id]), apart)
        assert {s.id for s in way.back} == back, id
        assert way.minutes >= sum(s.back_minutes for s in way.back) > 0


def test_a_cover_is_not_back_on_while_what_is_under_it_is_off() -> None:
    machine = machine_of("mower-battery-56v")
    as_is = next(c for c in machine.conditions if c.id == "as_is")
    assert {"switch_plug", "motor_plug", "controller_out", "motor_out"} <= set(as_is.closed)
    for one in map(machine_of, shipped_machines()):
        steps = {s.id: s for s in one.teardown}
        for c in one.conditions:
            assert not with_needs(steps, c.open) & set(c.closed)
            assert with_dependents(steps, c.open, c.closed) == c.closed
