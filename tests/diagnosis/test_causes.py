"""Only what can have made the proven fault is asked before the new part goes in."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from knowngood.machines.template import new_file
from knowngood.places import decision
from knowngood.places.bench import CheckIn, open_job, take_reading
from knowngood.places.gather import View
from knowngood.places.library import find_machine, find_meter, shipped_machines
from knowngood.places.record import At, Record

PACK = "pack-charger-56v"
NOW = At(datetime(2026, 3, 2, 9, 0, tzinfo=UTC), "Sam")


def read(folder: Path, machine: str, *readings: tuple[str, str]) -> View:
    meter = find_meter("generic-6000")
    with Record.open(folder / "shop.db") as record:
        view = open_job(record, CheckIn(find_machine(machine), "no_charge", meter=meter), NOW)
        for test, text in readings:
            _, view = take_reading(record, view.job.id, test, text, NOW)
        return view


def test_what_made_a_fault_that_is_shown_out_is_not_asked(tmp_path: Path) -> None:
    """54 V at the contacts: neither the fuse nor the board of the pack is open, so nobody asks
    whether metal bridged its contacts. Its thermistor reads OL: a blow does that (the file's
    causes), and nothing else of the pack is left."""
    view = read(tmp_path, PACK, ("pack_rest", "54.0 V"), ("therm_ohms", "OL"))
    assert [c.id for c in view.assessment.causes] == ["dropped"]


def test_of_several_faults_that_stand_the_causes_of_all_are_asked(tmp_path: Path) -> None:
    view = read(tmp_path, PACK, ("pack_rest", "0 V"))
    asked = {c.id for c in view.assessment.causes}
    assert {"bridged", "deep_discharge"} <= asked, "fuse open, or board latched"
    assert "heat" not in asked, "worn or tired cells show volts"


@pytest.mark.parametrize("name", shipped_machines())
def test_a_cause_that_needs_it_to_run_says_what_else_shows_it(name: str) -> None:
    """A machine that neither cranks nor runs can't answer what is asked while it does."""
    for cause in find_machine(name).it.causes:
        assert not cause.ask.endswith(("while cranking?", "while running?", "under load?"))


@pytest.mark.parametrize(("one_part", "asked"), [("none", True), ("motor, controller", False)])
def test_what_is_wrong_inside_parts_sold_as_one_is_no_cause_of_them(
    tmp_path: Path, one_part: str, asked: bool
) -> None:
    file = tmp_path / "own.yaml"
    file.write_text(new_file("own", "string-trimmer-40v", "", {"one_part": one_part}), "utf-8")
    part = "controller" if asked else "motor"
    with Record.open(tmp_path / "shop.db") as record:
        view = open_job(record, CheckIn(find_machine(str(file)), "dead"), NOW)
        view = decision.decide(record, view.job.id, NOW, part)
    causes = {c.id for c in decision.causes_of(view)}
    assert ("motor_bad" in causes) is asked
    assert "wet" in causes  # what comes from outside is asked of both
