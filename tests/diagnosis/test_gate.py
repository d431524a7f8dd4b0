"""Nothing live is offered before the dead proof in front of it reads good.

The machine files' own caution at the live step (common practice): only after the input is known not
to be shorted.
"""

from __future__ import annotations

import pytest

from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.machines.check import read_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.plan import advice_on
from knowngood.places.taking import read_for

METER = load_shipped_meter("generic-6000")


@pytest.fixture(scope="module")
def saw() -> Setup:
    machine, problems = read_machine(load_shipped("chainsaw-56v"), "saw")
    assert machine is not None, problems
    return set_up(machine, "dead", METER, Prices())


def after(saw: Setup, *texts: str) -> Assessment:
    test = next(t for t in saw.machine.tests if t.id == "input_ohms")
    items = [Item(str(n), test.id, read_for(test, x, METER)) for n, x in enumerate(texts)]
    return assess(saw, Evidence(tuple(items)), deadline=0.0)


def live(saw: Setup) -> set[str]:
    """Live tests that come after the ohms of the input."""
    on = {c.id for c in saw.machine.conditions if c.energised}
    return {t.id for t in saw.machine.tests if t.condition in on and "input_ohms" in t.after}


@pytest.mark.parametrize("text", ["22 ohm", "0.3 ohm"])
def test_nothing_live_while_the_input_does_not_read_good(saw: Setup, text: str) -> None:
    found = after(saw, text)
    waits = live(saw)
    assert "pack_swap" in waits
    assert not {s.id for s in found.steps} & waits
    for id in waits:
        assert found.held_back[id].startswith("nothing live before"), id


def test_what_fits_nothing_is_read_once_more_first(saw: Setup) -> None:
    found = after(saw, "22 ohm")
    assert found.next is not None
    assert (found.next.id, found.next.energised) == ("input_ohms", False)


def test_read_good_it_holds_nothing_back(saw: Setup) -> None:
    found = after(saw, "40 kohm")
    assert "pack_swap" in {s.id for s in found.steps}


@pytest.mark.parametrize("text", ["0.3 ohm", "2 kohm"])
def test_a_plan_from_here_on_keeps_to_it_as_well(saw: Setup, text: str) -> None:
    test = next(t for t in saw.machine.tests if t.id == "input_ohms")
    evidence = Evidence((Item("0", test.id, read_for(test, text, METER)),))
    advice = advice_on(saw, evidence, max_expansions=20)
    asked = {s.id for s in advice.plan.next if s.kind == "test"}
    assert asked and not asked & live(saw)
    assert all(advice.held[id].startswith("nothing live before") for id in live(saw))
