"""Every family that comes with the program goes together and out of the door by the same rules.

Common practice of the trade, and the order of 29 CFR 1910.147(e): the machine looked over and
whole before energy is restored, and nobody exposed to the first run.
"""

from __future__ import annotations

import re
from functools import cache

import pytest

from knowngood.machines.machine import STAGES, Machine
from knowngood.places.library import find_machine, shipped_machines, wired
from knowngood.shop.off import Off, off_of
from knowngood.shop.rebuild import bench_tests, control_proofs, rebuild_lines, rebuild_order

FAMILIES = shipped_machines()
RUNS = re.compile(r"\b(runs?|starts?|full speed|cuts|throttles|idles|cranks|stops)\b", re.I)
DEAD = re.compile(r"\b(plug lead off|(key and )?pack out|fastener count|jumper(ed)?)\b", re.I)


@cache
def machine_of(family: str) -> Machine:
    return wired(find_machine(family).it, None)


def all_off(machine: Machine) -> tuple[Off, ...]:
    """Everything off, each step after what it needs."""
    off = tuple(off_of(t) for t in machine.teardown)
    return tuple(reversed(rebuild_order(off)))


@pytest.mark.parametrize("family", FAMILIES)
def test_checks_with_the_source_out_come_first(family: str) -> None:
    checks = machine_of(family).release
    order = [STAGES.index(c.stage) for c in checks]
    assert order == sorted(order)
    assert checks[0].stage == "source out"
    assert {"run", "full"} & {c.stage for c in checks}, "it is seen to work at the end"
    last_dead = max(n for n, c in enumerate(checks) if c.stage == "source out")
    for n, check in enumerate(checks):
        said = f"{check.words} {check.caution}"
        if DEAD.search(said) and "same with" not in said:
            assert n <= last_dead or "before the handle" in said, check.words
        elif RUNS.search(check.words):
            assert n > last_dead, check.words


@pytest.mark.parametrize("family", FAMILIES)
def test_what_is_tried_at_full_speed_was_tried_without_load_before(family: str) -> None:
    checks = machine_of(family).release
    for n, check in enumerate(checks):
        if "full speed" in check.words and "three quarters" not in check.words:
            assert check.stage == "full"
            assert n > max(i for i, c in enumerate(checks) if c.stage in ("still", "run"))
    latch = [n for n, c in enumerate(checks) if c.id == "pack_latch"]
    assert all(checks[n - 1].stage == "source out" for n in latch), "the pack comes after the rest"


def test_the_saw_tries_its_brake_when_it_has_run_and_all_else_is_in_place() -> None:
    ids = [c.id for c in machine_of("chainsaw-56v").release]
    assert ids.index("brake_stops") > ids.index("chain_still") > ids.index("no_start_brake")
    assert ids.index("no_start_brake") > ids.index("pack_latch") > ids.index("fasteners")


@pytest.mark.parametrize("family", FAMILIES)
def test_a_machine_with_a_capacitor_has_it_measured_again(family: str) -> None:
    machine = machine_of(family)
    waits = [t.id for t in machine.teardown if t.role == "discharge"]
    lines = rebuild_lines(all_off(machine), (), (), control_proofs(machine))
    volts = [line for line in lines if line.kind == "discharge"]
    first = [line.about for line in volts if not line.id.startswith("again:")]
    again = [line.about for line in volts if line.id.startswith("again:")]
    assert first == again == waits  # before a hand goes in, and before the cover hides it
    assert all(line.kind == "discharge" for line in lines[: len(waits)])
    assert bool(waits) == any(c.id == "capacitor_rebuild" for c in machine.release)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_control_is_proven_before_the_cover_closes_over_it(family: str) -> None:
    machine = machine_of(family)
    off = all_off(machine)
    lines = rebuild_lines(off, (), (), control_proofs(machine))
    proofs = {p.id: p for p in control_proofs(machine)}
    place = {line.id: n for n, line in enumerate(lines)}
    proven: set[str] = set()
    for n, line in enumerate(lines):
        if line.kind == "prove" and line.about:
            proof = proofs[line.about]
            proven |= set(proof.controls)
            for step in proof.opens:
                back = place.get(f"back:{step}")
                assert back is None or n < back, f"{line.words}: {step} is back already"
    wanted = {c for p in proofs.values() for c in p.controls}
    rest = [line for line in lines if line.id == "prove:controls"]
    assert wanted == proven or all(c in rest[0].hints[0] for c in wanted - proven)
    sources = [t.id for t in machine.teardown if t.role == "source out"]
    last_proof = max((n for n, line in enumerate(lines) if line.kind == "prove"), default=-1)
    assert all(place[f"back:{s}"] > last_proof for s in sources)


@pytest.mark.parametrize("family", FAMILIES)
def test_one_cover_alone_never_closes_without_a_look_and_its_controls(family: str) -> None:
    machine = machine_of(family)
    for cover in (o for o in all_off(machine) if o.is_cover and not o.nothing_to_shut):
        lines = rebuild_lines((cover,), (), (), control_proofs(machine))
        kinds = [line.kind for line in lines]
        assert kinds.index("pinch") < kinds.index("back")
        assert kinds.index("prove") < kinds.index("back"), cover.words


@pytest.mark.parametrize("family", FAMILIES)
def test_traps_are_said_again_where_they_bite(family: str) -> None:
    machine = machine_of(family)
    lines = rebuild_lines(all_off(machine), (), (), control_proofs(machine))
    for step in machine.teardown:
        said = [h for line in lines if line.about == step.id for h in line.hints]
        assert set(step.traps) <= set(said), step.id


@pytest.mark.parametrize("family", FAMILIES)
def test_direction_is_looked_at_where_three_leads_were_moved(family: str) -> None:
    machine = machine_of(family)
    leads = [o for o in all_off(machine) if "phase leads" in o.words]
    lines = rebuild_lines(all_off(machine), (), (), control_proofs(machine))
    looks = [line for line in lines if line.kind == "direction"]
    assert len(looks) == bool(leads)
    if looks:
        assert lines[-1] == looks[0], "after everything is back"
        assert all(f"moved: {one.words}" in looks[0].hints for one in leads)
        others = tuple(o for o in all_off(machine) if o not in leads)
        without = rebuild_lines(others, (), (), ())
        assert not any(line.kind == "direction" for line in without)


def test_what_a_removed_part_can_be_asked_on_the_bench() -> None:
    mower = machine_of("mower-battery-56v")
    assert bench_tests(mower, "fuse") == ("main fuse: below 0.5 ohm",)
    assert len(bench_tests(mower, "controller")) == 2  # bridge diodes, bulk capacitor
    assert bench_tests(mower, "deck_clearing") == ()
    for family in FAMILIES:
        machine = machine_of(family)
        for part in machine.parts:
            assert len(bench_tests(machine, part.id)) <= 3
