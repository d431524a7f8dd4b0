"""Any two points: what the meter shows there, and what may not be measured."""

from __future__ import annotations

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
from knowngood.machines.wire import wire
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
