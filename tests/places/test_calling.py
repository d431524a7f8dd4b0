""" "I call it" asks for what proves the named part first."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from knowngood.places.bench import CheckIn, open_job, take_reading
from knowngood.places.calling import proving_steps
from knowngood.places.decision import call
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import At, Record

AT = At(datetime(2026, 3, 2, 9, 0, tzinfo=UTC), "Sam")


def test_the_test_of_the_named_part_comes_first(tmp_path: Path) -> None:
    """Nearest the part (NEETS module 19, six-step procedure: localise, then isolate): for a bail
    switch that is called, the switch at its own tabs."""
    with Record.open(tmp_path / "shop.db") as record:
        meter = find_meter("generic-6000")
        check_in = CheckIn(find_machine("mower-battery-56v"), "dead", meter=meter)
        job = open_job(record, check_in, AT).job.id
        view = call(record, job, "start_box", AT)
        assert proving_steps(view)[0].id == "bail_sw_cycles"
        _, view = take_reading(record, job, "bail_sw_cycles", "OL", AT)
        _, view = take_reading(record, job, "bail_sw_cycles", "OL", AT)
        steps = [step.id for step in proving_steps(view)]
        assert "bail_sw_cycles" not in steps
        assert len(steps) > 5


def test_what_a_charge_in_the_shop_silenced_does_not_come_first(tmp_path: Path) -> None:
    """A pack filled there says nothing of the charger that is called."""
    with Record.open(tmp_path / "shop.db") as record:
        check_in = CheckIn(find_machine("chainsaw-56v"), "dead", meter=find_meter("generic-6000"))
        job = open_job(record, check_in, AT).job.id
        take_reading(record, job, "pack_charged", "58.2 V", AT)
        assert proving_steps(call(record, job, "charger", AT))[0].id == "charger_check"


def test_nothing_is_put_first_when_no_part_is_called(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db") as record:
        view = open_job(record, CheckIn(find_machine("mower-battery-56v"), "dead"), AT)
        assert proving_steps(view) == ()
