"""Readings kept from an earlier time are those that would be worked out now, bit for bit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knowngood.diagnosis.assess import set_up
from knowngood.isolate.prices import Prices
from knowngood.machines import kept as kept_texts
from knowngood.machines.kept import name_of_rows, rows_text, with_rows
from knowngood.machines.machine import Machine, Test
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from tests.machines.wired import WIRED

METER = load_shipped_meter("generic-6000")
MARKS = (("fuse_open", "heater_open"), ("fuse_open", "pack_low", "switch_bad"))


class Shelf(dict[str, str]):
    """Keeps texts in memory and counts what was asked of it."""

    def __init__(self) -> None:
        super().__init__()
        self.hits = 0

    def read(self, name: str) -> str | None:
        self.hits += name in self
        return self.get(name)

    def write(self, name: str, text: str) -> None:
        self[name] = text


def fresh(text: str = WIRED, name: str = "wired") -> Machine:
    """Without a digest nothing is remembered in this process."""
    machine, problems = parse_machine(text, name)
    assert machine is not None, problems
    return replace(machine, digest="")


def as_text(tests: tuple[Test, ...]) -> str:
    return repr(tests)  # a float's repr tells its every bit


@pytest.mark.parametrize("name", ["hedge-trimmer-36v"])
def test_rows_and_pairs_are_the_same_with_and_without(name: str) -> None:
    text, shelf = load_shipped(name), Shelf()
    plain = set_up(wire(fresh(text, name), METER), "dead", METER, Prices())
    first = set_up(wire(fresh(text, name), METER, shelf), "dead", METER, Prices())
    assert shelf.hits == 0 and len(shelf) == 2
    again = set_up(wire(fresh(text, name), METER, shelf), "dead", METER, Prices())
    assert shelf.hits == 2 and len(shelf) == 2
    for other in (first, again):
        assert as_text(other.machine.tests) == as_text(plain.machine.tests)
        assert other.bench.table.rows.keys() == plain.bench.table.rows.keys()
        for id, row in plain.bench.table.rows.items():
            assert repr(other.bench.table.rows[id].forecasts) == repr(row.forecasts)
            assert (other.bench.table.rows[id].index == row.index).all()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["mower-battery-56v", "rider-start-12v"])
def test_rows_and_pairs_are_the_same_on_the_large_machines(name: str) -> None:
    complaint = {"mower-battery-56v": "dead", "rider-start-12v": "no_crank"}[name]
    text, shelf = load_shipped(name), Shelf()
    plain = set_up(wire(fresh(text, name), METER), complaint, METER, Prices())
    for _ in range(2):
        found = set_up(wire(fresh(text, name), METER, shelf), complaint, METER, Prices())
        assert as_text(found.machine.tests) == as_text(plain.machine.tests)
        assert repr([r.forecasts for r in found.bench.table.rows.values()]) == repr(
            [r.forecasts for r in plain.bench.table.rows.values()]
        )
    assert shelf.hits >= 2


def test_what_does_not_fit_is_worked_out_again() -> None:
    shelf = Shelf()
    good = as_text(wire(fresh(), METER, shelf).tests)
    (name,) = shelf
    row = '{"id": "heater_volts", "good": [["between", 1, 2, 1]], "expect": []}'
    for wrong in ("", "[]", "{}", "null", "[1]", '[{"id": 3}]', f"[{row}]", "\0", "[" * 5000):
        shelf[name] = wrong
        assert as_text(wire(fresh(), METER, shelf).tests) == good, wrong


@pytest.mark.parametrize("name", shipped_names())
def test_a_copy_under_another_name_is_the_same_machine(name: str) -> None:
    """A job pins a copy of the file: its readings are not worked out a second time."""
    text = load_shipped(name)
    one, _ = parse_machine(text, f"{name}.yaml")
    copy, _ = parse_machine(text, "the copy of a job")
    assert one is not None and copy is not None and one == copy
    assert name_of_rows(one, METER) == name_of_rows(copy, METER)


def test_the_name_follows_machine_meter_and_program(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = fresh()
    names = {
        name_of_rows(machine, METER),
        name_of_rows(machine, None),
        name_of_rows(machine, load_shipped_meter("generic-2000")),
        name_of_rows(fresh(WIRED.replace("9.8 ohm", "9.7 ohm")), METER),
    }
    assert len(names) == 4 and name_of_rows(fresh(), METER) in names
    monkeypatch.setattr(kept_texts, "_program", lambda: "another version")
    assert name_of_rows(machine, METER) not in names


def test_what_is_good_in_words_is_as_the_meter_shows_it() -> None:
    """The sheet of the meter: steps of 0.1 ohm."""
    machine = fresh(load_shipped("rider-start-12v"), "rider")
    wired = wire(machine, METER)
    again = with_rows(machine, METER, rows_text(wired.tests))
    assert again is not None
    brake = "ohms_brake_1_brake_2_brake_finger"
    for tests in (wired.tests, again):
        assert next(t.good_reads for t in tests if t.id == brake) == "0.2 to 0.3 ohm"
