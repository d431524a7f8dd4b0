"""The hedge trimmer that comes with the program: two-hand control, bridge, motor, sensors."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.probe import Climbing
from knowngood.circuit.solve import solve
from knowngood.diagnosis.assess import assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.isolate.table import Table
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine, Test
from knowngood.machines.shipped import load_shipped
from knowngood.machines.table import build_table, complaint_of
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.taking import read_for
from tests.machines.shares import as_usual
from tests.machines.test_mower import typical
from tests.machines.whole_round import judged

NAME = "hedge-trimmer-36v"
PARSED, PROBLEMS = read_machine(load_shipped(NAME), NAME)
assert PARSED is not None, "\n".join(str(p) for p in PROBLEMS)
FILE: Machine = PARSED
METERS = {n: load_shipped_meter(n) for n in ("generic-6000", "generic-2000")}
EXAMPLES = Path(__file__).parents[2] / "examples" / "circuits"


@lru_cache
def trimmer() -> Machine:
    """With what its wiring reads."""
    return wire(FILE, METERS["generic-6000"])


@lru_cache
def by_id() -> dict[str, Test]:
    return {t.id: t for t in trimmer().tests}


@lru_cache
def table_of(complaint: str, meter: str) -> Table:
    return build_table(FILE, complaint_of(FILE, complaint), meter=METERS[meter])


def test_pack_figures() -> None:
    # a lithium-ion cell is full at 4.2 V, so 10 in series at 42.0 V; touch limit 60 V dc
    # (IEC 61010-1, IEC 62368-1, from memory)
    assert trimmer().full_volts == pytest.approx(10 * 4.2)
    charged = by_id()["pack_charged"].limits
    assert charged is not None and charged.low == pytest.approx(10 * 4.05)
    # 42 V, 470 uF, 1 kohm, 5 s: V exp(-t / RC) is below 0.01 V
    assert 42 * math.exp(-5 / (1e3 * 470e-6)) < 0.01


def test_the_example_circuits_are_the_machine() -> None:
    assert trimmer().wires is not None
    own = trimmer().wires.circuit.by_ref
    for name in ("hedge-trimmer-both-hands", "hedge-trimmer-pack-out"):
        circuit, problems = parse_circuit((EXAMPLES / f"{name}.yaml").read_text("utf-8"), name)
        assert circuit is not None, problems
        for element in circuit.elements:
            there = own[element.ref]
            assert there.pins == element.pins and there.KIND == element.KIND, element.ref
            assert getattr(there, "ohms", 0) == getattr(element, "ohms", 0), element.ref


def test_both_hands_wake_the_controller_and_one_does_not() -> None:
    """Two switches in series: a truth table of the enable and the 5 V behind it."""
    name = "hedge-trimmer-both-hands"
    circuit, _ = parse_circuit((EXAMPLES / f"{name}.yaml").read_text("utf-8"), name)
    assert circuit is not None
    for rear in (False, True):
        for front in (False, True):
            answer = solve(circuit, states={"S1": rear, "S2": front})
            assert answer.on["U1"] == (rear and front)
            five = answer.nodes["hall.5V"]
            if rear and front:
                assert five == pytest.approx(5.0, abs=0.1)
            else:
                assert five is None or abs(five) < 0.1


def test_a_diode_range_climbs_into_the_capacitor() -> None:
    """1 mA into 470 uF: 2.13 V a second (I / C), the wrong way through the bridge."""
    name = "hedge-trimmer-pack-out"
    circuit, _ = parse_circuit((EXAMPLES / f"{name}.yaml").read_text("utf-8"), name)
    assert circuit is not None
    shown = [solve(circuit, probe=p).probe for p in circuit.probes]
    forward, back = shown[5], shown[7]
    assert isinstance(forward, float) and 0.4 < forward < 0.7
    assert isinstance(back, Climbing)
    assert back.per_second == pytest.approx(1e-3 / 470e-6, rel=0.01)


def test_the_usual_body_diodes() -> None:
    # 0.35 to 0.7 V one way, near 0 V when shorted: common practice
    diode = by_id()["bridge_diode"]
    assert 0.35 < diode.good.pieces[0].low < 0.7
    assert diode.expect["ctrl_fet"].pieces[0].low < 0.1


def test_either_switch_alone_leaves_the_chain_open() -> None:
    assert by_id()["chain_trigger_only"].good.pieces[0].kind == "over"
    assert by_id()["chain_front_only"].good.pieces[0].kind == "over"
    assert set(by_id()["chain_trigger_only"].expect) == {"front_stuck"}
    assert set(by_id()["chain_front_only"].expect) == {"trigger_stuck"}


def test_nothing_is_cut_with_something_caught_or_a_twig_in_a_hand() -> None:
    """The look at the blades holds what cuts, once it reads bad (common practice)."""
    machine = trimmer()
    setup = set_up(machine, "cuts_badly", METERS["generic-6000"], Prices())
    look = Item("0", "look_blades", read_for(by_id()["look_blades"], "yes", METERS["generic-6000"]))
    found = assess(setup, Evidence((look,)), deadline=None, max_expansions=2)
    for id in ("cut_run", "twig_cut"):
        assert found.held_back[id].startswith("nothing is run before"), id
    twigs = by_id()["twig_cut"]
    assert "clamped in a vice" in twigs.words and "Nobody holds a twig" in twigs.caution


def test_a_dead_trimmer_follows_the_usual_shares() -> None:
    """Shares of all complaints in percent, common practice: switches 30, pack 25,
    controller 15, gear and crank 15, blade jam 10, motor 5."""
    groups = {
        "switches": ({"trigger_switch", "front_switch", "switch_harness"}, 30),
        "pack": ({"pack", "charger", "terminal_block", "fuse"}, 25),
        "controller": ({"controller", "fuse"}, 15),
        "gear": ({"gear_set"}, 15),
        "jam": ({"blade_clearing", "blade_set"}, 10),
        "motor": ({"motor"}, 5),
    }
    whole = sum(f.weight for f in trimmer().faults)
    for name, (parts, usual) in groups.items():
        share = sum(f.weight for f in trimmer().faults if set(f.parts) <= parts) / whole
        assert as_usual(100 * share, usual), (name, share)


def test_blades_that_cut_badly_are_looked_at_and_sharpened_without_a_part() -> None:
    """Dull edges and resin are the usual reasons (common practice); the cure is labour."""
    table = table_of("cuts_badly", "generic-6000")
    weights = {h.id: h.weight for h in table.hypotheses}
    assert max(weights, key=lambda h: weights[h]) == "edges_dull"
    parts = {p.id: p for p in trimmer().parts}
    for fault, part in (("edges_dull", "blade_sharpening"), ("blades_sticky", "blade_clearing")):
        assert next(f for f in trimmer().faults if f.id == fault).parts == (part,)
        assert parts[part].price == 0 and parts[part].minutes > 0 and not parts[part].numbers
        assert parts[part].contents[0].startswith("labour only")
    for test in ("look_edges", "look_resin"):
        assert by_id()[test].look and not trimmer().state_of(by_id()[test]).energised
        assert "gloves" in by_id()[test].caution and "Pack out" in by_id()[test].caution


def test_a_chafed_harness_takes_the_fuse_along() -> None:
    table = build_table(FILE, complaint_of(FILE, "dead"))
    weights = {h.id: h for h in table.hypotheses}
    both = weights["harness_chafed+fuse_open"]
    assert both.parts == {"switch_harness", "fuse"}
    assert both.weight > 0.8 * (both.weight + weights["harness_chafed"].weight)


@pytest.mark.parametrize("meter", list(METERS))
@pytest.mark.parametrize("fault", [f.id for f in FILE.faults if f.parts])
def test_a_whole_round_of_tests_proves_the_right_part(fault: str, meter: str) -> None:
    """Every fault in turn: all tests are taken, each reading the likeliest, typed as text."""
    likeliest = max(trimmer().complaints, key=lambda c: c.given.get(fault, c.others))
    machine = wire(FILE, METERS[meter])
    table = table_of(likeliest.id, meter)
    items = []
    for test in machine.tests:
        if test.quantity == "capacitance" and METERS[meter].limit("capacitance") is None:
            continue  # the cheap meter cannot; another test must do
        text = typical(test.expect.get(fault, test.good), test)
        reading = read_for(test, text, METERS[meter])
        assert reading.is_evidence, (test.id, text, reading.note)
        items.append(Item(test.id, test.id, reading))
    belief, proof = judged(table, items)
    (part,) = next(f for f in trimmer().faults if f.id == fault).parts
    assert proof.parts == {part}, (proof, belief.of_parts())
    assert proof.proven, proof.missing
    assert np.isclose(belief.p.sum(), 1)


def test_cautions_stand_at_the_step() -> None:
    conditions = {c.id: c for c in trimmer().conditions}
    steps = {s.id: s for s in trimmer().teardown}
    assert "cover on" in steps["pack_out"].caution and "loves" in steps["blades_off"].caution
    for test in trimmer().tests:
        condition = conditions[test.condition]
        if "by hand" in test.words:
            assert not condition.energised and "pack_out" in condition.open, test.id
            assert test.caution or condition.caution, test.id
        if condition.energised and "shell" in condition.open and condition.volts is None:
            assert "say yes to it first" in condition.caution, test.id
            assert "input_ohms" in test.after, test.id


def test_either_hand_released_stops_the_blades_and_no_figure_is_invented() -> None:
    checks = {r.id: r for r in trimmer().release}
    for id in ("trigger_released", "front_released"):
        assert "stop promptly" in checks[id].words and checks[id].safety
        assert not any(ch.isdigit() for ch in checks[id].words)
    assert checks["cover"].words == "Blade cover refitted"
