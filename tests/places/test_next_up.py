"""Which machine next, with minutes from the plan."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from knowngood.cli import main
from knowngood.job.events import JobOpened
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places import decision, shelf
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.gather import evidence_of, load_job, setup_of
from knowngood.places.library import Known
from knowngood.places.next_up import (
    expected_minutes,
    minutes_left,
    next_up,
    not_weighed,
    shared_out,
)
from knowngood.places.plan import Leaf, plan_tree
from knowngood.places.record import Record, Refused
from knowngood.web.app import create_app
from tests.places.conftest import at
from tests.places.test_decision import proven


def job(
    record: Record, small: Known[Machine], meter: Known[MeterSheet], promised: str = ""
) -> str:
    check_in = CheckIn(small, "dead", "it is dead", meter, model="BT-5", promised=promised)
    return open_job(record, check_in, at()).job.id


def test_expected_minutes_of_a_plan_by_walking_every_path(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    it = load_job(record, job(record, small, meter))
    setup = setup_of(record, it)
    machine = setup.machine
    tree = plan_tree(setup, evidence_of(machine, it), most=63, deadline=None, max_expansions=60)
    back = {step.id: step for step in machine.teardown}

    def walked(leaf: Leaf) -> float:
        if leaf.node.kind != "test" or not leaf.then:
            return 0.0
        test = next(t for t in machine.tests if t.id == leaf.node.id)
        condition = next(c for c in machine.conditions if c.id == test.condition)
        here = test.minutes
        needs = set(condition.open)
        while more := {n for s in needs for n in back[s].needs} - needs:
            needs |= more
        here += sum(back[s].minutes for s in needs - leaf.opened)
        here += sum(back[c].back_minutes for c in condition.closed if c in leaf.opened)
        share = sum(b.chance for b in leaf.then)
        assert share == pytest.approx(1, abs=0.02)  # outcomes below the least shown are left out
        return here + sum(b.chance * walked(b.leaf) for b in leaf.then)

    assert expected_minutes(tree) == pytest.approx(walked(tree.root), rel=0.03)
    assert 2 < expected_minutes(tree) < 60


def test_the_quick_ones_first_and_a_promise_before_them(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    new = job(record, small, meter)
    fitting = job(record, small, meter)
    waiting = job(record, small, meter)
    for one in (fitting, waiting):
        view = decision.call(record, one, "start box", at(2))
        proven(record, view)
        decision.decide(record, one, at(10))
        shelf.order_part(record, one, "start_box", at(12), "BW-210")
    shelf.arrive(record, fitting, "start_box", at(13))
    order = [n.job.id for n in next_up(record, at(20).now)]
    assert waiting not in order  # its part is not here
    assert set(order) == {new, fitting}
    by_minutes = sorted(order, key=lambda i: next(
        n.job.minutes for n in next_up(record, at(20).now) if n.job.id == i))  # fmt: skip
    assert order == by_minutes
    # start box 12, handle back 5, two release checks, the counter
    kept = load_job(record, fitting)
    assert minutes_left(record, kept, "fit") == pytest.approx(12 + 5 + 2 + 3)
    late = by_minutes[-1]
    shelf.promise(record, late, at(0).now.date().isoformat(), at(21))
    first = next_up(record, at(22).now, minutes_a_day=10.0)[0]
    assert first.job.id == late
    assert first.why.startswith("promised for 2026-03-01")


def test_waiting_weighs_in(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    old = job(record, small, meter)
    later = at(0).now + timedelta(days=9)
    (only,) = next_up(record, later)
    assert (only.job.id, only.job.waited) == (old, 9)
    assert "waiting 9 days" in only.why


def test_the_command_and_the_page(
    record: Record,
    small: Known[Machine],
    meter: Known[MeterSheet],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    job(record, small, meter)
    assert main(["job", "next", "--store", str(tmp_path / "shop.db")]) == 0
    assert "1. 26-0001 Brackwater BT-5: about " in capsys.readouterr().out
    assert main(["job", "next", "--json", "--store", str(tmp_path / "shop.db")]) == 0
    assert json.loads(capsys.readouterr().out)[0]["minutes"] > 1
    with TestClient(create_app(tmp_path / "shop.db")) as client:
        page = client.get("/shelf/next").text
    assert "1. <bdi>26-0001 Brackwater BT-5</bdi>" in page


def test_shared_out_among_people(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    jobs = [job(record, small, meter) for _ in range(3)]
    shared = shared_out(record, at(20).now, ["Ana", "Ida"])
    assert shared.exact and sorted(t.job.id for t in shared.turns) == sorted(jobs)
    assert sorted(len(turns) for turns in shared.by_person.values()) == [1, 2]
    family = setup_of(record, load_job(record, jobs[0])).machine.family
    one = shared_out(record, at(20).now, [f"Ana: {family.split()[-1]}", "Ida: tractor"])
    assert {t.person for t in one.turns} == {"Ana"}
    nobody = shared_out(record, at(20).now, ["Ida: tractor"])
    assert nobody.turns == () and len(nobody.left) == 3
    for wrong in ([], ["Ana", "Ana"], [": mower"]):
        with pytest.raises(Refused):
            shared_out(record, at(20).now, wrong)


def test_what_is_not_weighed_is_said(
    record: Record, small: Known[Machine], meter: Known[MeterSheet], tmp_path: Path,
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
) -> None:
    ids = [job(record, small, meter) for _ in range(2)]
    record.append("bare", [JobOpened("26-0099", "", "", "", "it is dead")], at(1))
    found = next_up(record, at(20).now)
    assert {one.job.id for one in found} == set(ids)  # alike: by their ids, which are drawn
    assert not_weighed(record, ids).startswith("Not weighed: 26-0099; without a machine file")
    monkeypatch.setattr("knowngood.places.next_up.MOST_JOBS", 1)
    assert "26-0002, 26-0099;" in not_weighed(record, [next_up(record, at(20).now)[0].job.id])
    assert main(["job", "next", "--store", str(tmp_path / "shop.db")]) == 0
    out = capsys.readouterr().out
    assert "nothing else can go on now" in out and "Not weighed: 26-0002, 26-0099" in out
    with TestClient(create_app(tmp_path / "shop.db")) as client:
        assert "Not weighed: 26-0002" in client.get("/shelf/next").text
        assert "Not weighed: 26-0002" in client.get("/shelf/next?people=Ana").text
