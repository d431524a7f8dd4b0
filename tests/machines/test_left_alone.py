"""A pack that must be left alone, in every family that has one."""

from __future__ import annotations

import functools

import pytest

from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.hazard import CELL_TOP, barred, hazards, look_before, uses
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Machine, Test
from knowngood.measure.reading import Reading
from knowngood.places.library import find_machine, find_meter, shipped_machines
from knowngood.places.taking import read_for

FAMILIES = (
    "blower-56v", "blower-80v", "chainsaw-56v", "hedge-trimmer-36v", "mower-battery-56v",
    "pack-charger-56v", "string-trimmer-40v",
)  # fmt: skip
ON_IT = ("pack_rest", "pack_charged", "pack_load")


@functools.cache
def machine(name: str) -> Machine:
    return find_machine(name).it


def the_test(name: str, id: str) -> Test:
    return next(t for t in machine(name).tests if t.id == id)


def read(name: str, id: str, text: str) -> Item:
    found: Reading = read_for(the_test(name, id), text, find_meter("generic-6000").it, None)
    return Item(id, id, found, 0)


def test_no_family_with_a_pack_was_forgotten() -> None:
    having = {n for n in shipped_machines() if any(p.id == "pack" for p in machine(n).parts)}
    assert having == set(FAMILIES)


@pytest.mark.parametrize("name", FAMILIES)
def test_a_yes_holds_back_all_that_uses_the_pack(name: str) -> None:
    it = machine(name)
    found = hazards(it, [read(name, "look_pack", "yes")])
    held = barred(it, found)
    assert [h.part for h in found] == ["pack"]
    assert set(ON_IT) <= set(held)
    steps = {s.id for s in it.teardown if s.role == "source out"}
    conditions = {c.id: c for c in it.conditions}
    for test in it.tests:
        condition = conditions[test.condition]
        live = condition.energised and condition.volts is None and steps & set(condition.closed)
        shops = uses(it, test) == ()
        assert test.id in held or not live or shops, test.id
        words = f"{test.words} {condition.words}".casefold()
        if live and shops:  # only where the words say whose pack it is, or that there is none
            assert "of the shop" in words or "nothing in the cradle" in words, test.id


@pytest.mark.parametrize("name", FAMILIES)
def test_a_no_a_skip_and_a_withdrawn_yes_hold_nothing(name: str) -> None:
    assert hazards(machine(name), [read(name, "look_pack", "no")]) == ()
    assert hazards(machine(name), [read(name, "look_pack", "skip")]) == ()
    assert hazards(machine(name), []) == ()


@pytest.mark.parametrize("name", FAMILIES)
def test_the_counters_answer_holds_it_back_too(name: str) -> None:
    found = hazards(machine(name), [], ("swollen", "hot"))
    assert [h.part for h in found] == ["pack"] and "swollen, hot" in found[0].why
    assert set(ON_IT) <= set(barred(machine(name), found))


@pytest.mark.parametrize("name", FAMILIES)
@pytest.mark.parametrize("id", ON_IT)
def test_above_the_top_of_its_cells_it_is_unsafe(name: str, id: str) -> None:
    """4.25 V a cell: 4.20 V with a tolerance of 0.05 V (common practice of the 4.2 V cells)."""
    pack = next(p for p in machine(name).parts if p.id == "pack")
    assert pack.cells
    full = machine(name).full_volts
    assert full is None or full == pytest.approx(4.2 * pack.cells)
    top = pack.cells * CELL_TOP
    above, below = f"{top + 0.2:.1f} V", f"{top - 0.2:.1f} V"
    found = hazards(machine(name), [read(name, id, above)])
    assert found and found[0].overcharged and "charger is not used again" in found[0].to_do[-2]
    assert hazards(machine(name), [read(name, id, f"-{above}")])
    assert hazards(machine(name), [read(name, id, below)]) == ()


@pytest.mark.parametrize("name", FAMILIES)
def test_the_look_comes_before_every_run(name: str) -> None:
    it = machine(name)
    for complaint in it.complaints:
        for id in complaint.shown_by:
            test = the_test(name, id)
            condition = next(c for c in it.conditions if c.id == test.condition)
            first = look_before(it, test, frozenset())
            if condition.energised:
                assert first is not None and first.id == "look_pack"
    done = frozenset({"look_pack"})
    assert all(look_before(it, t, done) is None for t in it.tests)


@pytest.mark.parametrize("name", FAMILIES)
def test_it_is_never_known_good_while_that_stands(name: str) -> None:
    setup: Setup = set_up(machine(name), None, find_meter("generic-6000").it, Prices())
    items = (read(name, "look_pack", "yes"), _good(name, "pack_rest"), _good(name, "pack_load"))
    seen = assess(setup, Evidence(items), deadline=None, max_expansions=5)
    pack = next(p for p in seen.parts if p.id == "pack")
    assert pack.standing == "bad" and pack.evidence.startswith("unsafe: ")
    used = {t.id for t in setup.machine.tests if "pack" in uses(setup.machine, t)}
    assert not used & {s.id for s in seen.steps if s.kind == "test"} - {"look_pack"}


def _good(name: str, id: str) -> Item:
    limits = the_test(name, id).limits
    assert limits is not None and limits.low is not None and limits.high is not None
    return read(name, id, f"{(limits.low + limits.high) / 2:.1f} V")
