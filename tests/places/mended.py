"""A whole job in a few lines: checked in, the start box proven bad, mended, released, closed."""

from __future__ import annotations

from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places import decision
from knowngood.places.bench import CheckIn, open_job, take_readings
from knowngood.places.library import Known
from knowngood.places.record import Record
from tests.places.conftest import at

Shop = tuple[Record, Known[Machine], Known[MeterSheet]]


def mended(shop: Shop, number: int, motor: str, pack: str = "57.9 V", close: bool = True) -> str:
    """A job with the start box proven bad, mended, released and closed; its id."""
    record, small, meter = shop
    view = open_job(record, CheckIn(small, "dead", "dead", meter, serial=f"S{number}",
                                    model="BT-5"), at(day=number))  # fmt: skip
    job = view.job.id
    take_readings(record, job, [("pack_rest", pack), ("motor_ohms", motor), ("box_ohms", "OL"),
                                ("box_ohms", "OL")], at(5, number))  # fmt: skip
    view = decision.decide(record, job, at(6, number))
    assert view.job.decision is not None and view.job.decision.part == "start_box"
    decision.fit(record, job, at(30, number))
    for check in view.machine.release:
        decision.check_release(record, job, check.id, "pass", at(40, number))
    if close:
        decision.close_job(record, job, "repaired", at(50, number))
    return job
