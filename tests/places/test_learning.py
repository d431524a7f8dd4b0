"""Closed jobs teach the next one: played through the record, from check-in to closing."""

from __future__ import annotations

import pytest

from knowngood.job.counter import ComebackLinked, ComebackWithdrawn
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places import decision, learning
from knowngood.places.bench import CheckIn, open_job, take_reading, take_readings, withdraw
from knowngood.places.gather import View, load_job, look
from knowngood.places.lessons import closed_jobs
from knowngood.places.library import Known
from knowngood.places.record import Record, Refused
from tests.places.conftest import at
from tests.places.mended import Shop, mended


@pytest.fixture
def shop(record: Record, small: Known[Machine], meter: Known[MeterSheet]) -> Shop:
    return record, small, meter


def values(record: Record, machine: Machine, test: str) -> list[float]:
    known = learning.known_good(record, machine)
    return [r.value for t in known.tests if t.test.id == test for r in t.lesson.own]


def fresh(shop: Shop, day: int = 20) -> View:
    record, small, meter = shop
    return open_job(record, CheckIn(small, "dead", "dead", meter, model="BT-5"), at(day=day))


def test_a_closed_and_proven_job_teaches_the_next_one(shop: Shop) -> None:
    record, small, _ = shop
    assert fresh(shop, 1).job.learning.digest == ""
    for number, ohms in enumerate(("0.21 ohm", "0.22 ohm", "0.20 ohm", "0.21 ohm"), start=2):
        mended(shop, number, ohms)
    assert values(record, small.it, "motor_ohms") == [0.21, 0.22, 0.2, 0.21]
    assert values(record, small.it, "box_ohms") == []  # it sees the part that was bad
    view = fresh(shop)
    assert view.job.learning.words == "8 known-good readings and 4 closed jobs of this shop"
    test = next(t for t in view.machine.tests if t.id == "motor_ohms")
    assert test.limits is not None
    assert test.limits.source == "from 4 known-good readings of this model"
    taken, _ = take_reading(record, view.job.id, "motor_ohms", "0.9 ohm", at(3, 20))
    assert taken.judged is not None
    # Within the file's "at most 1 ohm (common practice)", far outside what good ones read here.
    assert taken.judged.verdict == "bad"
    assert "from 4 known-good readings of this model" in taken.judged.sentence


def test_a_job_keeps_the_lessons_that_it_opened_with(shop: Shop) -> None:
    record, _, _ = shop
    for number in range(2, 5):
        mended(shop, number, "0.21 ohm")
    view = fresh(shop)
    before = view.setup.bench.table.prior.tolist()
    mended(shop, 6, "0.35 ohm")
    again = look(record, view.job.id)
    assert again.job.learning.digest == view.job.learning.digest
    assert again.setup.bench.table.prior.tolist() == before
    newer = learning.use_latest(record, view.job.id, at(9, 20))
    assert newer.job.learning.digest != view.job.learning.digest
    with pytest.raises(Refused, match="nothing would change"):
        learning.use_latest(record, view.job.id, at(10, 20))
    alone = learning.use_latest(record, view.job.id, at(11, 20), alone=True)
    assert alone.job.learning.digest == ""
    limits = next(t for t in alone.machine.tests if t.id == "motor_ohms").limits
    assert limits is not None and limits.source == "common practice"


def test_what_is_undone_is_unlearned(shop: Shop) -> None:
    record, small, meter = shop
    jobs = [mended(shop, number, "0.21 ohm") for number in range(2, 6)]
    assert len(values(record, small.it, "motor_ohms")) == 4
    # A reading withdrawn on a closed job: the job is one to look at again, and teaches nothing.
    reading = load_job(record, jobs[0]).readings[1]
    withdraw(record, jobs[0], reading.id, "the clip was off", at(60, 2))
    assert len(values(record, small.it, "motor_ohms")) == 3
    # The same machine comes back: what it read is in doubt, until that is taken back.
    back = open_job(record, CheckIn(small, "dead", "dead", meter, serial="S3"), at(day=21)).job.id
    record.append(back, [ComebackLinked(jobs[1], "26-0003")], at(1, 21))
    assert len(values(record, small.it, "motor_ohms")) == 2
    known = learning.known_good(record, small.it)
    why = {one.job: one.why for one in known.lessons.left_out}
    assert why[jobs[1]].startswith("it came back as ") and "withdrawn" in why[jobs[0]]
    record.append(back, [ComebackWithdrawn("another machine")], at(2, 21))
    assert len(values(record, small.it, "motor_ohms")) == 3
    from knowngood.places.undo import undo

    undo(record, jobs[2], at(70, 4))  # the closing
    assert len(values(record, small.it, "motor_ohms")) == 2


def test_an_open_or_unproven_job_teaches_nothing(shop: Shop) -> None:
    record, small, meter = shop
    mended(shop, 2, "0.21 ohm", close=False)
    job = open_job(record, CheckIn(small, "dead", "dead", meter), at(day=3)).job.id
    take_reading(record, job, "motor_ohms", "0.4 ohm", at(2, 3))
    decision.close_job(record, job, "returned unrepaired", at(9, 3))
    assert values(record, small.it, "motor_ohms") == []
    left = learning.known_good(record, small.it).lessons.left_out
    assert [one.why for one in left] == ["closed as returned unrepaired"]


def test_a_reading_that_stands_out_is_asked_about_and_the_answer_counts(shop: Shop) -> None:
    record, small, _ = shop
    for number in range(2, 10):
        mended(shop, number, f"0.{20 + number % 3} ohm")
    odd = mended(shop, 10, "3.5 ohm")
    (asked,) = learning.questions(record)
    assert (asked.job, asked.test.id, asked.number) == (odd, "motor_ohms", 2)
    assert asked.asked.once_in > 1000
    assert 3.5 not in values(record, small.it, "motor_ohms")
    with pytest.raises(Refused, match="say keep"):
        learning.answer(record, odd, 2, "maybe", at(60, 10))
    said = learning.answer(record, odd, 2, "differs", at(60, 10), "the long lead")
    assert said.endswith("right, this machine differs")
    assert learning.questions(record) == ()
    known = learning.known_of_test(record, small.it, "motor_ohms")
    assert [r.value for r in known.lesson.apart] == [3.5]
    learning.answer(record, odd, 2, "keep", at(61, 10))
    assert 3.5 in values(record, small.it, "motor_ohms")
    assert load_job(record, odd).look_at_this == ()


def test_how_warm_it_was_is_kept_with_the_reading(shop: Shop) -> None:
    record, small, _ = shop
    view = fresh(shop, 2)
    learning.note_warmth(record, view.job.id, 31.0, at(1, 2))
    with pytest.raises(Refused, match="-40 to 60"):
        learning.note_warmth(record, view.job.id, 310, at(1, 2))
    take_readings(record, view.job.id, [("pack_rest", "57.9 V"), ("box_ohms", "OL"),
                                        ("box_ohms", "OL")], at(5, 2))  # fmt: skip
    view = decision.decide(record, view.job.id, at(6, 2))
    decision.fit(record, view.job.id, at(30, 2))
    for check in view.machine.release:
        decision.check_release(record, view.job.id, check.id, "pass", at(40, 2))
    decision.close_job(record, view.job.id, "repaired", at(50, 2))
    known = learning.known_of_test(record, small.it, "pack_rest")
    assert [r.celsius for r in known.lesson.own] == [31.0]
    assert [r.reading.meter for r in known.lesson.own] == ["generic-6000"]


def test_what_the_shop_has(shop: Shop) -> None:
    record, _, _ = shop
    mended(shop, 2, "0.21 ohm")
    (one,) = learning.learned(record)
    assert (one.machine, one.jobs, one.proven, one.readings) == ("test-mower", 1, 1, 2)
    assert [job.proven for job in closed_jobs(record, "test-mower")] == [True]
    with pytest.raises(Refused, match="no known-good readings of 'tolmin'"):
        learning.known_good(record, learning.machine_called(record, "test-mower"), "tolmin")
