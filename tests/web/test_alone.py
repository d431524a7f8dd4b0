"""What a phone without the shop minds is what the shop itself would hold back.

The caution behind it is the machine files' own at the live step (common practice): only after the
input is known not to be shorted, and a capacitor measured before a hand goes further.
"""

from __future__ import annotations

import pytest

from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.gate import is_gated
from knowngood.diagnosis.hazard import bad_answer
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.machines.check import read_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.taking import read_for
from knowngood.web.alone_view import alone_view

METER = load_shipped_meter("generic-6000")
NOTHING: frozenset[str] = frozenset()


@pytest.fixture(scope="module")
def saw() -> Setup:
    machine, problems = read_machine(load_shipped("chainsaw-56v"), "saw")
    assert machine is not None, problems
    return set_up(machine, "dead", METER, Prices())


def held_after(saw: Setup, id: str, text: str) -> dict[str, str]:
    test = next(t for t in saw.machine.tests if t.id == id)
    read = Item("1", id, read_for(test, text, METER))
    return dict(assess(saw, Evidence((read,)), deadline=0.0).held_back)


def test_what_a_bad_proof_would_hold_waits_for_it_unjudged(saw: Setup) -> None:
    alone = alone_view(saw.machine, saw.bench.table, NOTHING)
    held = {id for id, why in held_after(saw, "input_ohms", "0.3 ohm").items() if is_gated(why)}
    assert "pack_swap" in held
    assert held <= {id for id, one in alone.items() if "input_ohms" in one["before"]}


def test_what_a_bad_look_at_the_pack_would_hold_needs_that_part(saw: Setup) -> None:
    alone = alone_view(saw.machine, saw.bench.table, NOTHING)
    look = next(t for t in saw.machine.tests if t.hazard)
    why = held_after(saw, look.id, bad_answer(look)).items()
    held = {id for id, reason in why if reason.startswith("unsafe")}
    assert held and held == {id for id, one in alone.items() if look.hazard in one["uses"]}
    assert look.hazard not in alone[look.id]["uses"], "the look itself stays free"


def test_the_capacitor_is_on_the_way_to_what_lies_behind_it(saw: Setup) -> None:
    caps = {s.id for s in saw.machine.teardown if s.role == "discharge"}
    live = {c.id for c in saw.machine.conditions if c.energised}
    alone = alone_view(saw.machine, saw.bench.table, caps | {"pack_out", "cover"})
    behind = {t.id for t in saw.machine.tests if caps & {*saw.machine.state_of(t).open}}
    assert behind and {alone[id]["charged"] for id in behind - live} <= caps
    back = {t.id for t in saw.machine.tests if caps & {*saw.machine.state_of(t).closed}}
    assert back and all(set(alone[id]["charges"]) == caps for id in back)
