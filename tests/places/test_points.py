"""Any two points at the bench: the reading counts, stays on the job, and scripts can give it."""

from __future__ import annotations

import json

import pytest

from knowngood.diagnosis.assess import assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.prices import Prices
from knowngood.machines.check import read_machine
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.points import ask_points, points_line, setup_as_read, setup_with
from knowngood.places.readings import parse_readings
from knowngood.places.record import Refused
from tests.machines.wired import WIRED

METER = load_shipped_meter("generic-6000")


def setup_of_wired():  # type: ignore[no-untyped-def]
    machine, _ = read_machine(WIRED, "wired")
    assert machine is not None
    return set_up(machine, "cold", METER, Prices())


def test_asked_points_name_what_each_suspect_would_show() -> None:
    setup = setup_of_wired()
    asked, wider = ask_points(setup, "F", "S", "volts", "live")
    assert asked.test.id in wider.bench.table.rows and asked.test.id not in setup.bench.table.rows
    shown = dict(asked.expected)
    assert shown["switch_bad"] != asked.test.good and shown["no_fault"] == asked.test.good
    assert setup_with(setup, ["heater_volts"]) is setup


def test_points_that_a_newer_file_does_not_have_stop_nothing() -> None:
    setup = setup_of_wired()
    asked, _ = ask_points(setup, "F", "S", "volts", "live")
    gone = asked.test.id.replace(":F:", ":old:")
    with pytest.raises(Refused, match="there is no point 'old'"):
        setup_with(setup, [gone])
    read = setup_as_read(setup, [gone, asked.test.id])
    assert asked.test.id in read.bench.table.rows and gone not in read.bench.table.rows


def test_a_reading_between_asked_points_moves_the_belief() -> None:
    setup = setup_of_wired()
    text = json.dumps([{"points": ["F", "S"], "read": "volts", "condition": "live",
                        "text": "4.1 V"}])  # fmt: skip
    file, problems = parse_readings(text, "r.json", setup.machine, METER)
    assert file is not None, problems
    setup = setup_with(setup, [e.test for e in file.entries])
    before = assess(setup, Evidence(), deadline=0.05)
    after = assess(setup, file.evidence, deadline=0.05)
    chance = {a: next(p.belief for p in v.parts if p.id == "switch")
              for a, v in (("before", before), ("after", after))}  # fmt: skip
    assert chance["after"] > 0.9 > 0.5 > chance["before"]
    assert file.evidence.opened == {"lid"}


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ({"points": "F", "text": "1 V"}, "points must be two names"),
        ({"points": ["F", "Z"], "text": "1 V"}, "there is no point 'Z'"),
        ({"points": ["F", "S"], "read": "ohms", "condition": "live", "text": "1"}, "a source is"),
        ({"points": ["F", "S"]}, "text is missing"),
        ({"points": ["F", "S"], "test": "heater_volts", "text": "1 V"}, "exactly one of"),
    ],
)
def test_slips_in_a_file_are_listed(entry: dict[str, object], message: str) -> None:
    setup = setup_of_wired()
    file, problems = parse_readings(json.dumps([entry]), "r.json", setup.machine, METER)
    assert file is None and message in problems[0] and problems[0].startswith("r.json[0]: ")


def test_a_line_at_the_bench_is_taken_apart() -> None:
    assert points_line("SP1 B- volts in plug_live: 11.9 V") == {
        "red": "SP1", "black": "B-", "read": "volts", "where": "plug_live", "text": "11.9 V",
    }  # fmt: skip
    assert points_line("C4.1 C9.2")["black"] == "C9.2"
    with pytest.raises(Refused, match="which two points"):
        points_line("SP1")
