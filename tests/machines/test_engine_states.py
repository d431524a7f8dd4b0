"""Engines in the shipped files: what is on before one is cranked or run, what is looked at first.

A run or a pull with a cover of the engine off throws or spills something, a mower that hit
something is not run before blade and shaft were looked at, and a driver sits on a seat that is
down (common practice; makers' operating sheets say the same). No figure but one is tested here,
only states and words.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta, timezone
from pathlib import Path

import pytest

from knowngood.cli.asking import next_ask
from knowngood.cli.bench import Clock
from knowngood.cli.session import Session, Start
from knowngood.diagnosis.assess import assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.steps import way_there
from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Condition, Machine, Test
from knowngood.machines.safety import with_needs
from knowngood.machines.table import build_table, complaint_of
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record
from knowngood.places.taking import read_for

ENGINES = ("mower-4stroke", "trimmer-2stroke", "rider-start-12v")
METER = load_shipped_meter("generic-6000")
MACHINES: dict[str, Machine] = {name: find_machine(name).it for name in ENGINES}
COVERS = ("shroud", "flywheel", "rocker_cover", "valve_cover", "carb_bowl", "carb_off",
          "muffler_off", "starter_out", "blade_off")  # fmt: skip
PULLED = re.compile(r"rope pulled|\bpulls?\b|\bsink\b|with the rope")  # the plug lead may be off
TURNS = re.compile(PULLED.pattern + r"|\bcranks?\b|\bin START\b|engine (running|at )|outdoors")
STILL = re.compile(r"nothing cranks")
NOT_FOR_THIS = {  # what may be off while the rope is pulled with the plug lead off
    "rope_slow": {"carb_bowl", "carb_off", "muffler_off", "valve_cover"},
    "gauge_on": set(), "plug_hole": {"muffler_off", "valve_cover"},
    "ports_open": {"muffler_off", "carb_bowl", "carb_off"},
}  # fmt: skip


def turned(machine: Machine) -> list[Condition]:
    """States in which the engine is turned by starter, rope or itself: by their words or those of
    a test taken there."""
    found = []
    for c in machine.conditions:
        tests = [t.words for t in machine.tests if t.condition == c.id]
        said = " ".join((c.words, *tests))
        turns = (TURNS if c.energised else PULLED).search(said)
        if (turns or c.does) and c.volts is None and not STILL.search(said):
            found.append(c)
    return found


@pytest.mark.parametrize("name", ENGINES)
def test_the_engine_is_whole_before_it_is_turned(name: str) -> None:
    machine = MACHINES[name]
    steps = {s.id: s for s in machine.teardown}
    states = turned(machine)
    assert len(states) >= 6
    wrong = []
    for c in states:
        opened = with_needs(steps, c.open)
        free = opened | NOT_FOR_THIS.get(c.id, set())
        bare = [s for s in COVERS if s in steps and s not in free and s not in c.closed]
        off = [s for s in COVERS if s in opened and s != "muffler_off"]
        wrong += [(c.id, s) for s in (*bare, *off)]
    assert wrong == []


@pytest.mark.parametrize("name", ["mower-4stroke", "trimmer-2stroke"])
def test_the_rope_is_there_when_it_is_pulled(name: str) -> None:
    """The recoil sits on the shroud."""
    machine = MACHINES[name]
    pulled = {"rope_try", "rope_drop", "rope_feel", "compression", "rings_oil", "plug_wet",
              "port_look", "spark_kill_on", "spark_kill_off", "spark_warm", "fuel_throat",
              "verify"}  # fmt: skip
    here = [t for t in machine.tests if t.id in pulled]
    assert len(here) >= 8
    for test in here:
        state = machine.state_of(test)
        assert "shroud" in state.closed, test.id
        opened = frozenset({"plug_lead", "shroud", "flywheel"})
        assert "shroud" in {s.id for s in way_there(machine, state, opened).back}, test.id
    assert "throttle held wide open" in next(t.words for t in here if t.id == "compression")


def test_a_kill_lead_is_parted_where_it_can_be_reached_with_the_rope_on() -> None:
    for name in ("mower-4stroke", "trimmer-2stroke"):
        step = next(s for s in MACHINES[name].teardown if s.id == "kill_lead")
        assert "connector" in step.words and "shroud" in step.words
        assert any("before the rope is pulled" in t for t in step.traps)
        for test in MACHINES[name].tests:
            assert "off the coil" not in f"{test.words} {MACHINES[name].state_of(test).words}"


LOOKS = {"deck_look", "blade_rock", "blade_straight", "blade_true"}


def test_nothing_fires_before_blade_and_shaft_were_looked_at() -> None:
    """A bent crank is not run: every state in which the mower may fire waits for the looks."""
    machine = MACHINES["mower-4stroke"]
    fires = [t for t in machine.tests if t.condition in ("running", "run_hot", "throat")]
    assert len(fires) >= 6
    for test in fires:
        assert set(test.after) >= LOOKS, test.id
        assert "shaft end that wobbles" in machine.state_of(test).caution, test.id
    for look in (t for t in machine.tests if t.id in LOOKS):
        assert not machine.state_of(look).energised and look.look
        assert machine.fixed_order.index(look.id) < min(
            machine.fixed_order.index(t.id) for t in fires
        )


def reading_of(test: Test, text: str) -> Item:
    return Item(test.id, test.id, read_for(test, text, METER))


def test_a_bent_blade_is_not_run_and_is_no_short_block() -> None:
    """A bent blade is a new blade; the crank is judged by its own end (common practice)."""
    machine = MACHINES["mower-4stroke"]
    setup = set_up(machine, "shakes", METER, Prices())
    bent = Evidence((reading_of(named(machine, "blade_straight"), "no"),))
    found = assess(setup, bent, deadline=None, max_expansions=2)
    for id in ("verify", "hunts", "run_long", "stops_on_bail", "fuel_throat", "snatch"):
        assert found.held_back[id].startswith("nothing is run before"), id
    table = build_table(machine, complaint_of(machine, "shakes"), meter=METER)
    shares = weigh(table, list(bent.items)).of_parts()
    assert max(shares, key=lambda parts: shares[parts]) == frozenset({"blade_adapter"})
    assert shares[frozenset({"short_block"})] < 0.05


def test_the_blade_turns_by_hand_with_plug_out_and_brake_off() -> None:
    """With the bail let go the brake holds the crank, with the plug in compression throws the
    blade back at the hand; and a blade is reached with the mower lifted (common practice)."""
    machine = MACHINES["mower-4stroke"]
    turned_by_hand = named(machine, "blade_true")
    state = machine.state_of(turned_by_hand)
    assert {"plug_lead", "plug_out"} <= set(state.open) and set(state.held) == {"bail"}
    assert "blade_off" in state.closed and not state.energised
    assert "strap" in state.words and "gloves" in state.caution
    for id in LOOKS:
        test = named(machine, id)
        there = f"{test.words} {machine.state_of(test).words}"
        assert "lifted at the front on a block" in there, id
        assert "not tipped" in f"{test.caution} {machine.state_of(test).caution}", id
    assert "bail let go" in named(machine, "blade_rock").words


def test_an_engine_that_coasts_does_not_clear_its_brake() -> None:
    """The blade sits on the crank: with a worn brake both coast on with the firing stopped, and
    some will call that "does not stop"."""
    machine = MACHINES["mower-4stroke"]
    table = build_table(machine, complaint_of(machine, "runs_on"), meter=METER)
    test = named(machine, "stops_on_bail")
    assert "firing" in test.question and "coast" in test.question
    shares = weigh(table, [reading_of(test, "no")]).of_parts()
    assert shares[frozenset({"brake_assembly"})] > 0.05
    cured = weigh(table, [reading_of(test, "yes")]).of_parts()
    assert cured[frozenset({"brake_assembly"})] > 10 * cured[frozenset({"kill_wire"})]
    film = named(machine, "blade_time").words
    assert film.index("Prop the phone first") < film.index("let it run")


def test_fuel_is_let_out_of_a_cold_engine() -> None:
    machine = MACHINES["mower-4stroke"]
    for id in ("fuel_sample", "fuel_flow", "cap_try", "bowl_drain"):
        test = named(machine, id)
        said = f"{test.caution} {machine.state_of(test).words}"
        assert re.search(r"[Ee]ngine (cold|off and cold)", said), id
    warm = named(MACHINES["trimmer-2stroke"], "idle_screw")
    assert warm.words.startswith("Warm") and "Hot muffler - gloves" in warm.caution


def test_a_blade_switch_that_is_on_drives_no_blade_while_it_cranks() -> None:
    machine = MACHINES["rider-start-12v"]
    test = named(machine, "blades_crank")
    state = machine.state_of(test)
    for said in (test.words.lower(), state.words):
        assert "deck belt off its pulley" in said and "plug of the blade clutch parted" in said
        assert said.index("deck belt off") < said.index("blade switch on")
    assert "blades off" not in state.caution


def test_the_bench_asks_for_the_looks_before_it_tries(tmp_path: Path) -> None:
    """Whether it does not start is not tried on a mower that nobody looked at."""
    start = Start(find_machine("mower-4stroke"), "no_start", find_meter("generic-6000"), Prices(),
                  "Ms. Amis", "Brackwater", "BM-S46", "1")  # fmt: skip
    with Record.open(tmp_path / "shop.db") as record:
        session = Session(record, start, "Ana Reyes", lambda _: None, Clock(timezone(timedelta(0))))
        session.begin()
        assert next_ask(session).key.removeprefix("test ") in LOOKS | {"fuel_sample"}


def test_leak_down_air_has_one_caution() -> None:
    machine = MACHINES["mower-4stroke"]
    low = [c for c in machine.cautions if "30 psi" in c]
    assert low and all("eak-down" not in c for c in low)
    (said,) = [c for c in machine.cautions if "Leak-down" in c]
    assert "regulator" in said and "top dead" in said and "hands and tools clear" in said
    test = next(t for t in machine.tests if t.id == "leak_down")
    state = machine.state_of(test)
    assert "top dead centre" in test.words and "low first" in test.words
    assert "blade_off" in state.open and "no hand" in state.caution


def test_what_is_let_go_is_not_held() -> None:
    machine = MACHINES["mower-4stroke"]
    let_go = [t for t in machine.tests if t.quantity == "ohms" and "let go" in t.words]
    assert {t.id for t in let_go} >= {"stop_ohms", "stop_arm_free"}
    for test in let_go:
        state = machine.state_of(test)
        assert "bail" not in state.held and "bail held" not in state.words, test.id
        assert state.states.get("S1") is not False, test.id


def seated(machine: Machine) -> list[Condition]:
    return [c for c in machine.conditions if "person on the seat" in c.words]


def test_who_sits_sits_on_a_seat_that_is_down() -> None:
    machine = MACHINES["rider-start-12v"]
    assert len(seated(machine)) >= 5
    for c in seated(machine):
        assert "seat_up" in c.closed, c.id
    for c in machine.conditions:  # and who cranks with the seat up says that nobody is on it
        assert not ("seat_up" in c.open and "on the seat," in c.words), c.id


def test_a_missing_spark_is_not_one_of_a_parted_plug() -> None:
    """With a plug of the start chain apart nothing cranks, and no spark means nothing."""
    machine = MACHINES["rider-start-12v"]
    chain = {"bat_neg", "key_plug", "pto_plug", "brake_plug", "seat_plug", "coil_lead", "fuse_out"}
    for id in ("spark_on", "spark_off", "crank_blades", "crank_pedal_up"):
        state = next(c for c in machine.conditions if c.id == id)
        needed = chain if "seat_up" not in state.open and "spark" in id else chain - {"seat_plug"}
        assert needed <= set(state.closed), id
        assert {"dash_cover", "foot_plate", "shroud"} <= set(state.closed), id


def named(machine: Machine, id: str) -> Test:
    return next(t for t in machine.tests if t.id == id)


def test_a_plug_is_only_looked_at_with_the_battery_off() -> None:
    machine = MACHINES["rider-start-12v"]
    look = named(machine, "plug_look")
    assert not machine.state_of(look).energised
    assert "known-good" not in look.words + look.question + look.good_reads


def test_stator_volts_are_read_at_the_speed_their_limits_are_for() -> None:
    machine = MACHINES["rider-start-12v"]
    test = named(machine, "stator_volts")
    speed = "full governed speed"
    assert all(speed in s for s in (test.words, test.good_reads, machine.state_of(test).words))


def test_what_is_under_the_seat_is_looked_at_with_the_seat_tipped() -> None:
    machine = MACHINES["rider-start-12v"]
    for id in ("look_posts", "look_harness"):
        test = named(machine, id)
        assert "Tip the seat forward" in test.words and "seat down again" in test.words
        assert "nothing opened" not in machine.state_of(test).words


def test_the_rule_sees_a_cover_that_is_left_off() -> None:
    """The rule above fails where one of the states is told less."""
    machine = MACHINES["rider-start-12v"]
    worse = replace(machine, conditions=tuple(
        replace(c, closed=tuple(s for s in c.closed if s != "rocker_cover"))
        for c in machine.conditions))  # fmt: skip
    assert all("rocker_cover" not in c.closed for c in turned(worse)) and turned(worse)
    assert all("rocker_cover" in c.closed for c in turned(machine))
