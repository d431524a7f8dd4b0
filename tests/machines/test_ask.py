"""Any two points: what the meter shows there, and what may not be measured."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations

import pytest

from knowngood.machines.ask import (
    AskError,
    asked_test,
    conditions_for,
    find_node,
    with_tests,
)
from knowngood.machines.ask import test_of as named
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from knowngood.machines.safety import condition_breaches
from knowngood.machines.shipped import load_shipped
from knowngood.machines.wire import wire
from knowngood.machines.wiring import Wiring
from knowngood.measure.meter import load_shipped_meter
from tests.machines.tiny import TINY
from tests.machines.wired import WIRED


def wired() -> Machine:
    machine, _ = read_machine(WIRED, "wired")
    assert machine is not None
    return wire(machine, load_shipped_meter("generic-6000"))


def test_two_points_give_a_test_with_a_reading_for_each_fault() -> None:
    test = asked_test(wired(), "F", "heater plus", "volts", "live")
    # across the closed switch, 50 mohm of 10 ohm at 12 V
    (piece,) = test.good.pieces
    assert piece.low == pytest.approx(12 * 0.05 / 10.0, rel=1e-3)
    assert test.expect["switch_bad"].pieces[0].high > 12 * 10 / 19.95
    assert test.id == "ask:volts:live:F:S"
    leads = "red on fuse out, black on heater plus"
    assert test.words == f"Volts from fuse out to heater plus, {leads}."


def test_the_id_says_all_there_is_to_it() -> None:
    machine = wired()
    test = asked_test(machine, "F", "S", "volts", "live")
    again = named(machine, test.id)
    assert again is not None and again.expect == test.expect
    assert named(machine, "heater_volts") is None
    more = with_tests(machine, [test.id, "heater_volts", test.id])
    assert [t.id for t in more.tests[len(machine.tests) :]] == [test.id]


def test_a_declared_pair_is_the_declared_test() -> None:
    assert asked_test(wired(), "S", "B-", "volts", "live").id == "heater_volts"


def test_range_and_condition_follow_from_what_is_there() -> None:
    machine = wired()
    assert asked_test(machine, "P+", "P-", condition="idle").quantity == "volts"
    assert asked_test(machine, "B+", "F", condition="dead").quantity == "ohms"
    opened = conditions_for(machine, "S", "B-", ("lid",))
    assert opened[0].id == "live"  # the pack is in and the lid off: nothing to do


NAMES = ("rider-start-12v", "mower-battery-56v", "hedge-trimmer-36v")


@cache
def bare(name: str) -> Machine:
    """A shipped machine with its wiring, nothing worked out yet."""
    machine, problems = parse_machine(load_shipped(name), name)
    assert machine is not None, problems
    return replace(machine, tests=(),
                   wiring=Wiring(machine, load_shipped_meter("generic-6000")))  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_hardly_any_two_points_are_refused(name: str) -> None:
    """Whoever has the covers off may put the probes anywhere; what is refused has its reason."""
    machine = bare(name)
    assert machine.wires is not None
    pairs = list(combinations(machine.wires.points, 2))
    refused = [p for p in pairs if not conditions_for(machine, *p)]
    assert len(refused) <= 0.02 * len(pairs), refused
    for red, black in refused:
        with pytest.raises(AskError, match="only as long as this is not done"):
            asked_test(machine, red, black)


def test_a_state_that_the_file_does_not_have_says_what_comes_off() -> None:
    machine = bare("rider-start-12v")
    test = asked_test(machine, "key.G", "brake.3")
    base, *more = test.condition.split("+")
    assert base in {c.id for c in machine.conditions} and set(more) & {"foot_plate", "brake_plug"}
    (condition,) = conditions_for(machine, "key.G", "brake.3")[:1]
    assert condition.id == test.condition
    steps = {s.id: s for s in machine.teardown}
    for step in more:
        assert f"{steps[step].words} ({steps[step].minutes:g} min)" in condition.words
        assert steps[step].caution in condition.caution
    again = with_tests(machine, [test.id])
    assert again.tests[-1].expect == test.expect
    assert again.conditions[-1].id == test.condition  # so that a reading there counts


def test_points_that_nothing_joins_read_over_range() -> None:
    test = asked_test(bare("rider-start-12v"), "key.B", "key.S", "ohms", "key_run")
    assert test.good.pieces[0].kind == "over"
    assert test.expect["key_start_stuck"].pieces[0].kind != "over"


def test_no_state_is_made_of_one_that_moves_or_is_not_safe() -> None:
    for name in NAMES:
        machine = bare(name)
        assert machine.wires is not None
        conditions = {c.id: c for c in machine.conditions}
        points = list(machine.wires.points)
        for pair in combinations(points[:: 2 if name == NAMES[0] else 3], 2):
            for c in conditions_for(machine, *pair):
                base = conditions[c.id.split("+")[0]]
                assert base is c or not (base.does or (base.energised and not base.generate))
                assert not list(condition_breaches(machine, c))


@pytest.mark.parametrize(
    ("red", "black", "read", "condition", "message"),
    [
        ("F", "F", "", "", "both leads are on F"),
        ("F", "nowhere", "", "", "there is no point 'nowhere'"),
        ("F", "S", "ohms", "live", "a source is connected"),
        ("P+", "P-", "ohms", "dead", "a source is connected"),
        ("P+", "S", "volts", "live", "P\\+ cannot be reached in live. P\\+ is reached in dead"),
        ("F", "S", "volts", "lit", "there is no condition 'lit'"),
        ("F", "S", "watts", "live", "no reading 'watts'"),
    ],
)
def test_what_cannot_be_measured_is_said(
    red: str, black: str, read: str, condition: str, message: str
) -> None:
    with pytest.raises(AskError, match=message):
        asked_test(wired(), red, black, read, condition)


def test_points_are_found_by_name_or_words() -> None:
    machine = wired()
    assert find_node(machine, "p+") == find_node(machine, "Pack  Plus") == "P+"


def test_a_file_without_a_circuit_has_no_points() -> None:
    tiny, _ = read_machine(TINY, "tiny")
    assert tiny is not None
    with pytest.raises(AskError, match="no circuit"):
        asked_test(wire(tiny, None), "A", "B")


def test_the_same_two_points_are_one_measurement_whichever_lead() -> None:
    """Taken twice it would be evidence twice: a slip that stays would prove a wrong part."""
    machine = wired()
    with pytest.raises(AskError, match="the other way round: points S B-"):
        asked_test(machine, "B-", "S", "volts", "live")
    first = asked_test(machine, "F", "S", "volts", "live")
    with pytest.raises(AskError, match="the other way round: points F S"):
        asked_test(with_tests(machine, [first.id]), "S", "F", "volts", "live")
    ohms = asked_test(machine, "B+", "F", condition="dead")
    if ohms.id.startswith("ask:"):
        machine = with_tests(machine, [ohms.id])
    assert asked_test(machine, "F", "B+", condition="dead").id == ohms.id


def test_ohms_across_a_diode_are_not_the_same_with_the_leads_turned() -> None:
    """A hand meter that puts a volt or more on its ohms range conducts through a body diode one way
    and shows OL the other (common practice); a switch or a wire reads the same both ways."""
    file, _ = read_machine(load_shipped("hedge-trimmer-36v"), "hedge")
    assert file is not None
    machine = replace(file, wiring=Wiring(file, load_shipped_meter("generic-2000")))
    leg = asked_test(machine, "drive.U", "B-", "ohms", "motor_unplugged")
    machine = with_tests(machine, [leg.id])
    assert asked_test(machine, "drive.U", "B-", "ohms", "motor_unplugged").id == leg.id
    with pytest.raises(AskError, match=r"the other way round: points drive\.U B-"):
        asked_test(machine, "B-", "drive.U", "ohms", "motor_unplugged")
    assert asked_test(machine, "chain.plug", "rear.1", "ohms", "both_held").id == "chain_ohms"
    turned = asked_test(machine, "B-", "drive.U", "ohms", "motor_unplugged", own=True)
    machine = with_tests(machine, [turned.id])  # kept on a job of before
    assert asked_test(machine, "B-", "drive.U", "ohms", "motor_unplugged").id == turned.id
