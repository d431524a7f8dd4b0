"""A job without a machine file is taken apart, put together and handed back all the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from knowngood.job import apart as ap
from knowngood.machines.bare import KINDS, Kind, load_bare
from knowngood.machines.check import report_text
from knowngood.machines.machine import STAGES
from knowngood.places import apart
from knowngood.places.bare import bare_machine, without_file
from knowngood.places.counter import Sheet, check_in
from knowngood.places.gather import load_job, look
from knowngood.places.rebuild import rebuild_of
from knowngood.places.record import At, Record, Refused
from knowngood.places.teach import lessons
from knowngood.shop.release import release_of_job

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes: float) -> At:
    return At(START + timedelta(minutes=minutes), "Sam")


def came_in(record: Record) -> str:
    check_in(record, "job-1", Sheet(words="Squeals and stops", maker="Tolmin", model="T-9"), at(0))
    return "job-1"


@pytest.mark.parametrize("kind", KINDS)
def test_the_files_are_sound_and_their_checks_in_order(kind: Kind) -> None:
    machine, report = report_text(load_bare(kind), kind)
    assert report.problems == () and machine is not None
    order = [STAGES.index(c.stage) for c in machine.release]
    assert order == sorted(order) and order[0] == 0 and machine.release[-1].stage == "full"
    assert [t.role for t in machine.teardown].count("source out") == 1


@pytest.mark.parametrize(("kind", "source"), [("battery", "pack_out"), ("engine", "plug_lead")])
def test_apart_and_together_in_the_order_recorded(
    record: Record, kind: Kind, source: str
) -> None:
    job = came_in(record)
    view = without_file(record, job, kind, at(1))
    assert view.machine.id == f"any-{kind}-machine"
    apart.take_off(record, job, source, at(2))
    apart.take_off(record, job, "own-1", at(4), words="Top cover off")
    kinds = apart.fasteners_noted([{"count": 5, "drive": "T25"}])
    apart.note_step(record, job, ap.StepNoted("own-1", kinds, where="tray 2"), at(5))
    view = apart.take_off(record, job, "own-2", at(7), words="Fan out")
    lines = [one.line.id for one in rebuild_of(view)]
    assert lines == [
        "back:own-2", "prove:controls", "pinch:own-1", "back:own-1", f"back:{source}", "count",
    ]  # fmt: skip
    with pytest.raises(Refused, match="still off inside it: Fan out"):
        apart.put_step_back(record, job, "own-1", at(8))
    for step in ("own-2", "own-1", source):
        view = apart.put_step_back(record, job, step, at(9))
    assert apart.fastener_tally(view).words == "5 of 5 fasteners back, none left over"
    release = release_of_job(view.machine, view.job)
    assert release.held and release.checks[0].check == "fasteners"
    assert lessons(view.machine, view.job) == (), "there is no file that could learn"


def test_a_job_with_a_file_keeps_it(record: Record) -> None:
    job = came_in(record)
    without_file(record, job, "battery", at(1))
    with pytest.raises(Refused, match="has a machine file"):
        without_file(record, job, "engine", at(2))
    assert load_job(record, job).opened is not None
    assert look(record, job).machine == bare_machine("battery").it
