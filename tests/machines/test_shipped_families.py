"""The family files that come with the program: complete, safe, and able to tell.

Shares of complaints are common practice, no published source; how near they must come: `shares`.
"""

from __future__ import annotations

import math
import re
from functools import cache
from graphlib import TopologicalSorter
from typing import Any

import pytest
from scipy.stats import binom

from knowngood.isolate.belief import Item, weigh
from knowngood.machines.check import Report, report_text
from knowngood.machines.machine import Machine
from knowngood.machines.safety import LIVE_LIMIT, with_needs
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.table import build_table
from knowngood.machines.tree import read_tree
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.library import find_machine
from knowngood.places.taking import read_for
from knowngood.shop.proven import not_empty
from tests.families import each
from tests.machines.shares import JOBS, as_usual
from tests.machines.test_mower import typical
from tests.machines.whole_round import judged

METER = load_shipped_meter("generic-6000")
WITH_SHARES = ["chainsaw-56v", "string-trimmer-40v", "blower-56v"]
BRUSHLESS = [*WITH_SHARES, "hedge-trimmer-36v", "mower-battery-56v"]
FAMILIES = [*WITH_SHARES, "mower-4stroke", "trimmer-2stroke", "pack-charger-56v", "blower-80v"]
COMPLETE = sorted(shipped_names())  # each file that comes with the program
PACKS = "pack-charger-56v"  # from outside only: nothing to unscrew
SHARES: dict[str, list[tuple[set[str], int]]] = {  # in percent of the first complaint
    "chainsaw-56v": [
        ({"brake_switch", "brake_set"}, 25), ({"pack", "charger", "terminal_block"}, 25),
        ({"controller", "fuse"}, 20), ({"trigger_switch", "switch_harness"}, 15),
        ({"bar", "chain", "chip_clearing", "sprocket"}, 8), ({"motor"}, 7),
    ],
    "mower-4stroke": [
        ({"fuel_service", "carburettor", "carb_gasket", "fuel_line", "fuel_cap", "primer"}, 55),
        ({"spark_plug"}, 8), ({"kill_wire", "stop_switch", "bail_cable", "brake_assembly"}, 8),
        ({"flywheel_key"}, 6), ({"coil", "coil_setting"}, 6), ({"air_filter"}, 4),
        ({"valve_work", "head_gasket", "short_block"}, 6), ({"recoil"}, 5),
    ],
    "string-trimmer-40v": [
        ({"pack", "charger", "terminal_block"}, 30), ({"trigger_switch"}, 20),
        ({"upper_harness", "lower_harness", "coupler"}, 15), ({"controller", "fuse"}, 15),
        ({"motor"}, 10), ({"head_clearing", "line_head", "line"}, 10),
    ],
    "trimmer-2stroke": [
        ({"carb_kit", "carburettor", "fuel_lines", "primer", "air_filter"}, 55),
        ({"exhaust_cleaning"}, 10), ({"spark_plug", "coil"}, 10), ({"cylinder_kit"}, 10),
        ({"insulator", "crank_seals"}, 7), ({"stop_switch"}, 3),
    ],
    "blower-56v": [
        ({"pack", "charger", "terminal_block"}, 35), ({"controller", "fuse"}, 25),
        ({"trigger"}, 30), ({"motor"}, 10),  # its harness is sold with the trigger
    ],
}  # fmt: skip


@cache
def read(name: str) -> tuple[Machine, Report]:
    machine, report = report_text(load_shipped(name), name)
    assert machine is not None, "\n".join(str(p) for p in report.problems)
    return machine, report


BY_TWO_READINGS = {  # (file, fault): why no single reading proves it in half of all cases
    ("rider-start-12v", "battery_flat"): "rests as low as a worn battery until both are charged",
    ("rider-start-12v", "fuse_holder_bad"): "passes some current: like any bad joint of the chain "
    "until one has measured on both sides of it",
}


@pytest.mark.parametrize("name", each(COMPLETE))
def test_it_tells_all_parts_apart_and_proves_each_fault(name: str) -> None:
    machine, report = read(name)
    assert report.notes == () and report.untold == ()
    assert {p.fault for p in report.proofs} == {f.id for f in machine.faults if f.parts}
    weak = {(name, p.fault) for p in report.proofs if p.test is None or p.chance < 0.5}
    assert weak == {k for k in BY_TWO_READINGS if k[0] == name}


@cache
def machine_of(name: str) -> Machine:
    """The machine alone, without the long report of its check."""
    return find_machine(name).it


@pytest.mark.parametrize("name", COMPLETE)
def test_it_is_complete(name: str) -> None:
    machine = machine_of(name)
    assert machine.id == name and len(machine.faults) >= 15 and len(machine.complaints) >= 3
    assert any(f.leaves for f in machine.faults) and machine.doubles and machine.told
    assert machine.other_weight > 0 and machine.no_fault_weight > 0
    assert all(p.contents for p in machine.parts)
    assert machine.causes and {c for f in machine.faults for c in f.causes} == {
        c.id for c in machine.causes
    }
    assert any(s.traps for s in machine.teardown)
    assert name == PACKS or any(s.fasteners for s in machine.teardown)
    assert len(machine.release) >= 6 and sum(r.safety for r in machine.release) >= 5
    assert {t.id for t in machine.tests} == set(machine.fixed_order)


@pytest.mark.parametrize("name", COMPLETE)
def test_what_a_fault_takes_along_is_told_once_and_never_in_a_ring(name: str) -> None:
    machine = machine_of(name)
    leaves = {f.id: {c.fault: c.chance for c in f.leaves} for f in machine.faults}
    for fault, others in leaves.items():
        assert sum(others.values()) < 1 and all(0 < p < 1 for p in others.values()), fault
    pairs = {frozenset((a, b)) for a, others in leaves.items() for b in others}
    assert not pairs & {frozenset(d.faults) for d in machine.doubles}  # else counted twice
    followed = TopologicalSorter({f: set(others) for f, others in leaves.items()})
    assert set(followed.static_order()) >= set(leaves)  # CycleError: a ring
    shows = {f.id: f.shows for f in machine.faults}
    for fault, others in leaves.items():  # what was burnt by it stays burnt
        assert shows[fault] is None or not others, fault


LEAST_TAKEN_ALONG = {  # a short, a locked rotor and a failing capacitor ruin more than themselves
    "ctrl_short": {"fuse_open", "motor_hall"}, "ctrl_capacitor": {"ctrl_fet"},
    "motor_seized": {"ctrl_fet"}, "motor_earthed": {"ctrl_fet"}, "charger_dead": {"pack_dead"},
}  # fmt: skip


@pytest.mark.parametrize("name", BRUSHLESS)
def test_a_battery_machine_says_what_its_faults_take_along(name: str) -> None:
    machine = machine_of(name)
    leaves = {f.id: {c.fault for c in f.leaves} for f in machine.faults}
    one = {} if "ctrl_fet" in leaves else {"ctrl_fet": "ctrl_short"}  # the mower's one short
    for fault, others in LEAST_TAKEN_ALONG.items():
        assert {one.get(o, o) for o in others} <= leaves[fault], fault
    assert sum(map(len, leaves.values())) >= 9
    known = {frozenset(d.faults) for d in machine.doubles}
    turns = {frozenset(("motor_turns", s)) for s in ("ctrl_fet", "ctrl_short")}
    assert known & turns  # a burnt winding and its transistor, whichever was first


@pytest.mark.parametrize("name", COMPLETE)
def test_every_number_is_trade_knowledge_or_invented(name: str) -> None:
    """No figure is taken from a maker's manual; a rule, and a manual in the public domain (the
    rider's, of the US Army), is named where one is."""
    machine = machine_of(name)
    named = [machine.source, *(p.source for p in machine.parts)]
    named += [n.source for p in machine.parts for n in p.numbers]
    named += [s.source for s in machine.teardown] + [f.source for f in machine.faults]
    named += [t.source for t in machine.tests] + [c.source for c in machine.causes]
    named += [t.limits.source for t in machine.tests if t.limits is not None]
    named += [r.source for r in machine.release] + [c.source for c in machine.complaints]
    named += [d.source for d in machine.doubles]
    named += [machine.wires.source] if machine.wires is not None else []
    assert [s for s in named if not LEGAL.match(s)] == []
    assert odd_sources(read_tree(load_shipped(name), name).data) == []


LEGAL = re.compile(
    r"common practice|invented for the demo|16 CFR|(US Army )?TM \d|.*\(arithmetic\)"
)


def odd_sources(entry: Any) -> list[str]:
    """Every source in an entry of a file, at any depth, that is none of those."""
    if isinstance(entry, list):
        return [s for one in entry for s in odd_sources(one)]
    if not isinstance(entry, dict):
        return []
    named = [*entry.get("sources", {}).values(), *([entry["source"]] if "source" in entry else [])]
    inside = [s for one in entry.values() for s in odd_sources(one)]
    return [s for s in named if not LEGAL.match(str(s))] + inside


@pytest.mark.parametrize("section", ["doubles", "told", "nuisances", "circuit", "tests", "sources"])
def test_a_source_of_another_kind_is_found_in_every_list(section: str) -> None:
    data = read_tree(load_shipped("chainsaw-56v"), "file").data
    lists = {**data, "circuit": data["circuit"]["elements"]}[section]
    entry = lists[0] if isinstance(lists, list) else next(iter(lists.values()))
    target, key = (lists, "told") if section == "sources" else (entry, "source")
    target[key] = "a maker's book"
    assert odd_sources(data) == ["a maker's book"]


FIGURES_ON_PURPOSE = {"mower-4stroke": {"compression"}}  # many have a release: compare, no limit


@pytest.mark.parametrize("name", COMPLETE)
def test_a_good_figure_has_its_limits(name: str) -> None:
    """Where a good machine reads one band of a number, the verdict has limits to say so."""
    bare = {t.id for t in machine_of(name).tests
            if t.limits is None and t.quantity != "yes_no" and not t.compare
            and re.match(r"[\d.]|about \d|what its plate says", t.good_reads)}  # fmt: skip
    assert bare == FIGURES_ON_PURPOSE.get(name, set())


@pytest.mark.parametrize("name", COMPLETE)
def test_a_caution_stands_at_every_step_that_can_hurt(name: str) -> None:
    machine = machine_of(name)
    steps = {s.id: s for s in machine.teardown}
    conditions = {c.id: c for c in machine.conditions}
    shells = {s.id for s in machine.teardown if s.role == "shell"}
    for step in machine.teardown:
        assert step.role == "" or step.caution, step.id
    for test in machine.tests:
        condition = conditions[test.condition]
        if not condition.energised:
            continue
        assert condition.caution, test.id
        open_shell = bool(with_needs(steps, condition.open) & shells)
        if open_shell and condition.volts is None:
            assert "say yes to it first" in condition.caution, test.id
            assert "input_ohms" in test.after, test.id
            assert machine.full_volts is not None and machine.full_volts <= LIVE_LIMIT


SHARED = {"input_ohms", "input_to_capacitor", "bridge_diode", "capacitor_value", "motor_pairs",
          "motor_turned_ohms", "drag_two_leads", "drag_three_leads", "motor_spun_volts",
          "motor_halls", "motor_case"}  # fmt: skip
CALLED = {  # the walk-behind mower has its own names for them
    "mower-battery-56v": {"input_to_capacitor": "feed_ohms", "motor_spun_volts": "motor_spun",
                          "drag_two_leads": "motor_braked", "drag_three_leads": "motor_braked_all"},
}  # fmt: skip


@pytest.mark.slow
def test_every_brushless_family_is_known_here() -> None:
    found = {
        name
        for name in shipped_names()
        if (w := find_machine(name).it.wires) is not None
        and any(type(e).__name__ == "Winding3" for e in w.circuit.elements)
    }
    assert found == {*BRUSHLESS, "blower-80v"}


@pytest.mark.parametrize("name", BRUSHLESS)
def test_the_tests_that_all_brushless_machines_share(name: str) -> None:
    machine, _ = read(name)
    tests = {t.id: t for t in machine.tests}
    there = {s: CALLED.get(name, {}).get(s, s) for s in SHARED}
    assert set(there.values()) <= set(tests)
    order = list(machine.fixed_order)
    for id in ("input_volts", "block_drop", "rail_volts"):  # live ones follow
        assert max(order.index(t) for t in there.values()) < order.index(id)
    conditions = {c.id: c for c in machine.conditions}
    assert not any(conditions[tests[t].condition].energised for t in there.values())
    for id in ("motor_pairs", "motor_spun_volts"):  # three pairs, judged by their differences
        assert len(tests[there[id]].compare) == 3
    assert tests[there["motor_spun_volts"]].quantity == "ac_volts"
    assert "two phase leads" in tests[there["drag_two_leads"]].words
    assert "all three phase leads" in tests[there["drag_three_leads"]].words
    assert "turned slowly by hand" in tests[there["motor_turned_ohms"]].words
    assert "swap the leads" in tests["input_ohms"].words  # both ways round
    assert "iron" in tests["motor_case"].words and "motor_plug" in with_needs(
        {s.id: s for s in machine.teardown}, conditions[tests["motor_case"].condition].open
    )  # to the iron, with the leads parted
    assert "capacitor plus" in tests[there["input_to_capacitor"]].words
    (discharge,) = [s for s in machine.teardown if s.role == "discharge"]
    assert "on the capacitor itself" in discharge.caution.lower()
    assert "never a screwdriver" in discharge.caution
    assert any("Capacitor measured on its own terminals again" in r.words for r in machine.release)


@pytest.mark.parametrize("name", [*BRUSHLESS, "blower-80v"])
def test_a_capacitor_is_empty_enough_for_ohms_and_diode(name: str) -> None:
    """Volts on it under a milliampere of the meter are a wrong reading, or harm the meter; so below
    1 V, which its bleeding reaches: V exp(-t / RC) with the file's own figures."""
    machine, _ = read(name)
    (step,) = [s for s in machine.teardown if s.role == "discharge"]
    assert not_empty(step.words, "3 V") == "3 V is not below 1 V"
    assert not_empty(step.words, "0.4 V") == "" and "Above 1 V bleed it" in step.caution
    said = re.search(r"(\d+) uF from ([\d.]+) V through 1 kohm", step.source)
    assert said is not None
    assert float(said[2]) * math.exp(-5 / (1e3 * float(said[1]) * 1e-6)) < 1


@pytest.mark.parametrize("name", SHARES)
def test_the_first_complaint_follows_the_usual_shares(name: str) -> None:
    machine, _ = read(name)
    dead = machine.complaints[0]
    seen = {f.id: f.weight * dead.given.get(f.id, dead.others) for f in machine.faults}
    whole = sum(seen.values())
    for parts, usual in SHARES[name]:
        share = 100 * sum(seen[f.id] for f in machine.faults if set(f.parts) <= parts) / whole
        assert as_usual(share, usual), (parts, share)


def test_the_bounds_of_a_share_are_those_of_fifty_jobs() -> None:
    """Tables of the binomial distribution (from memory): of 50 with a share of 0.10, up to 9 in
    97.55 %, and none in 0.9 ** 50 = 0.52 %."""
    assert binom.cdf(9, JOBS, 0.1) == pytest.approx(0.9755, abs=5e-5)
    assert binom.cdf(0, JOBS, 0.1) == pytest.approx(0.9**50)
    assert as_usual(18.0, 10) and not as_usual(18.1, 10)
    assert not as_usual(2.0, 10) and as_usual(2.1, 10)
    assert as_usual(64, 55) and not as_usual(66, 55)  # ten points, whatever the binomial allows
    assert not as_usual(0, 3)  # none of a usual fault is never as usual


@pytest.mark.parametrize("name", each(FAMILIES))
def test_a_whole_round_of_tests_proves_each_fault(name: str) -> None:
    """Every fault in turn: all tests are taken, each reading the likeliest, typed as text."""
    file, _ = read(name)
    machine = wire(file, METER)
    tables = {c.id: build_table(file, c, meter=METER) for c in file.complaints}
    for fault in file.faults:
        likeliest = max(file.complaints, key=lambda c: c.given.get(fault.id, c.others))
        items = []
        for test in machine.tests:
            text = typical(test.expect.get(fault.id, test.good), test)
            reading = read_for(test, text, METER)
            assert reading.is_evidence, (test.id, text, reading.note)
            items.append(Item(test.id, test.id, reading))
        if not fault.parts:
            continue  # elsewhere: nothing on the list cures it
        _, proof = judged(tables[likeliest.id], items)
        assert proof.proven and proof.parts == set(fault.parts), (fault.id, proof)


def test_a_pack_is_never_opened() -> None:
    machine, _ = read(PACKS)
    assert not any(s.role in ("shell", "discharge") for s in machine.teardown)
    assert any("never opened" in c for c in machine.cautions)
    assert machine.parts[0].contents[-1].endswith("never opened")
    conditions = {c.id: c for c in machine.conditions}
    charging = {"pack_on_shop_charger", "own_pair", "pack_charged", "pack_load", "pack_capacity"}
    for test in machine.tests:  # looked over before it is charged or loaded
        assert test.id not in charging or "looked_over" in conditions[test.condition].open
    (step,) = [s for s in machine.teardown if s.id == "looked_over"]
    assert "stop. Do not charge, load or open it" in step.caution


def test_a_pack_that_only_waits_accuses_no_part() -> None:
    """Too hot from work or cold from outside: lithium-ion cells are charged between about 0 and
    45 degC (common practice), and the board of the pack holds back outside of that."""
    machine, _ = read(PACKS)
    table = build_table(machine, next(c for c in machine.complaints if c.id == "error_lamp"),
                        meter=METER)  # fmt: skip
    tests = {t.id: t for t in machine.tests}

    def after(answer: str) -> dict[frozenset[str], float]:
        reading = read_for(tests["room_story"], answer, METER)
        return weigh(table, [Item("room_story", "room_story", reading)]).of_parts()

    assert machine.state_of(tests["room_story"]).open == ("looked_over",)
    for id in ("room_story", "own_pair"):  # tried in its own charger, as the step says
        state = machine.state_of(tests[id])
        assert "own charger" in state.words and set(state.uses or ()) == {"pack", "charger"}, id
    wait = tests["room_story"]
    assert "until its case reads 10 to 30 degC, two hours or more, then own pack" in wait.words
    assert "on a surface that does not burn" in wait.caution
    look = tests["look_pack"].question  # warm from the machine is no damage: it would bar all
    assert "hot without work or sun" in look
    none = frozenset[str]()
    assert after("yes")[none] > 0.9
    assert after("no")[none] < after("yes")[none] / 2


@pytest.mark.parametrize("name", BRUSHLESS)
def test_a_pack_too_hot_or_too_cold_is_asked_for_on_the_machine_too(name: str) -> None:
    """Its board holds back outside of about 0 to 45 degC when charged, -20 to 60 degC when loaded
    (common practice); warm from work is no damage, which would bar every run."""
    machine, _ = read(name)
    tests = {t.id: t for t in machine.tests}
    assert "hot without work or sun" in tests["look_pack"].question
    assert "until its case reads 10 to 30 degC" in tests["room_story"].words
    assert set(tests["room_story"].expect) == {"pack_waits"}
    (fault,) = [f for f in machine.faults if f.id == "pack_waits"]
    assert not fault.parts  # nothing is fitted
    (cause,) = [c for c in machine.causes if c.id == "pack_heat"]
    assert "let it come to 10 to 30 degC" in cause.mend


def test_a_cracked_impeller_is_not_run() -> None:
    machine, _ = read("blower-56v")
    (look,) = [t for t in machine.tests if t.id == "look_impeller"]
    runs = {t.id for t in machine.tests if "motor runs" in t.sees} | {"full_run", "shake_run"}
    assert runs <= set(look.holds)
