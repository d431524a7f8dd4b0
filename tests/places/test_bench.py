"""The bench as a place: gather, decide, write."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from knowngood.diagnosis.hazard import bad_answer
from knowngood.job import events as ev
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places import apart, bench
from knowngood.places.bench import CheckIn, open_job, take_reading, take_readings
from knowngood.places.gather import View, look
from knowngood.places.library import Known, find_machine, find_meter
from knowngood.places.record import At, Record, Refused
from knowngood.places.undo import undo
from tests.places.conftest import at


def beliefs(view: View) -> dict[str, float]:
    return {p.id: p.belief for p in view.assessment.parts}


def standing(view: View, part: str) -> str:
    return next(p.standing for p in view.assessment.parts if p.id == part)


def test_opening_pins_machine_meter_and_prices_by_digest(record: Record, dead: View) -> None:
    opened = dead.job.opened
    assert opened is not None
    assert dead.job.number == "26-0001"
    assert opened.customer_words == "it is dead"
    assert "test-mower" in record.files.text_of(opened.machine_digest)
    assert "6000-count" in record.files.text_of(opened.meter_digest)
    assert "bench_rate" in record.files.text_of(opened.prices_digest)


def test_an_unknown_complaint_opens_nothing(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    with pytest.raises(Refused, match="Did you mean dead"):
        open_job(record, CheckIn(small, "ded", "", meter), at())
    assert record.log.jobs() == []


def test_a_step_mistyped_is_told_with_the_nearest_of_a_shipped_machine() -> None:
    mower = find_machine("mower-battery-56v").it
    with pytest.raises(Refused, match=r"no teardown step 'hndle'\. Did you mean handle_bracket\?"):
        bench.find_step(mower, "hndle")


def test_a_reading_and_its_judgement_are_one_transaction(record: Record, dead: View) -> None:
    taken, view = take_reading(record, dead.job.id, "pack_rest", "57.9 V", at(3))
    events = record.log.events(dead.job.id)
    kinds = [type(e.event).__name__ for e in events]
    assert kinds == ["JobOpened", "MinutesNoted", "ReadingTaken", "ReadingJudged"]
    kept = view.job.reading(taken.id)
    assert kept is not None and kept.verdict == "good"
    assert kept.shown["parts"]["pack"]["standing"] == "known good"
    assert kept.shown["next"]["price"] >= 0
    assert kept.shown["fits"] is True
    assert standing(view, "pack") == "known good"


def test_withdrawing_gives_back_the_belief_of_before(record: Record, dead: View) -> None:
    _, before = take_reading(record, dead.job.id, "pack_rest", "57.9 V", at(3))
    taken, after = take_reading(record, dead.job.id, "box_ohms", "OL", at(9))
    assert beliefs(after)["start_box"] > 0.95
    view = bench.withdraw(record, dead.job.id, taken.id, "lead not on the pin", at(10))
    assert beliefs(view) == pytest.approx(beliefs(before), abs=1e-12)
    gone = view.job.reading(taken.id)
    assert gone is not None and gone.reason == "lead not on the pin"
    with pytest.raises(Refused, match="already"):
        bench.withdraw(record, dead.job.id, taken.id, "", at(11))


def test_undo_takes_back_the_latest_of_all_kinds(record: Record, dead: View) -> None:
    from knowngood.places import decision

    job = dead.job.id
    take_reading(record, job, "pack_rest", "57.9 V", at(3))
    decision.accept(record, job, "motor", "Ana", at(4))
    decision.call(record, job, "start_box", at(5))
    said = [undo(record, job, at(6 + n))[0] for n in range(3)]
    assert said == ["Start box called", "Blade motor accepted", "pack volts at rest 57.9 V"]
    with pytest.raises(Refused, match="nothing to take back"):
        undo(record, job, at(10))


def test_text_that_cannot_be_read_waits_for_its_correction(record: Record, dead: View) -> None:
    first, view = take_reading(record, dead.job.id, "pack_rest", "banana", at(2))
    assert first.judged is None and "12.4 V" in first.reading.note
    assert "pack_rest" in {s.id for s in view.assessment.steps}  # asked again, not passed over
    second, view = take_reading(record, dead.job.id, "pack_rest", "57.9", at(3))
    corrected = view.job.reading(first.id)
    assert corrected is not None and corrected.corrected_by == second.id
    assert [r.text for r in view.job.live_readings] == ["57.9"]


def test_a_skip_passes_over_and_is_no_evidence(record: Record, dead: View) -> None:
    _, view = take_reading(record, dead.job.id, "pack_rest", "can't tell", at(2))
    assert beliefs(view) == pytest.approx(beliefs(dead), abs=1e-12)
    assert view.assessment.held_back["pack_rest"] == "skipped"


def test_same_repeats_the_earlier_reading(record: Record, dead: View) -> None:
    take_reading(record, dead.job.id, "pack_rest", "57.9", at(2))
    taken, view = take_reading(record, dead.job.id, "pack_rest", "same", at(3))
    assert taken.reading.value == 57.9
    assert len(view.assessment.readings) == 1  # averaged, not counted twice


def test_same_at_a_step_not_read_yet_is_the_last_reading_where_it_fits(
    record: Record, dead: View
) -> None:
    with pytest.raises(Refused, match=r"no earlier reading to repeat.*Nothing is kept"):
        take_reading(record, dead.job.id, "box_ohms", "same", at(2))
    take_reading(record, dead.job.id, "box_ohms", "0.3 ohm", at(2))
    taken, _ = take_reading(record, dead.job.id, "motor_ohms", "same", at(3))
    assert taken.reading.value == 0.3 and "'0.3 ohm'" in taken.reading.note
    with pytest.raises(Refused, match="the earlier reading was ohms"):
        take_reading(record, dead.job.id, "pack_rest", "same", at(4))


def test_steps_that_a_test_needs_are_opened_with_it(record: Record, dead: View) -> None:
    taken, view = take_reading(record, dead.job.id, "motor_ohms", "0.2", at(4))
    assert taken.opened == ("cover", "plug")
    assert [s.step for s in view.job.open_steps] == ["cover", "plug"]
    again, _ = take_reading(record, dead.job.id, "enable", "0.6 V", at(9))
    assert again.opened == ()


def test_minutes_by_the_clock_are_shared_in_proportion(record: Record, dead: View) -> None:
    # cover 5, plug 1, test 3: nine reckoned; eighteen passed, so each took twice as long.
    _, view = take_reading(record, dead.job.id, "motor_ohms", "0.2", at(18))
    spent = view.job.minutes_by_step()
    assert spent == {"cover": 10.0, "plug": 2.0, "test motor_ohms": 6.0}
    assert all(m.measured for m in view.job.minutes)


@pytest.mark.parametrize("minutes", [0.5, 600])
def test_a_clock_that_tells_nothing_is_not_believed(
    record: Record, dead: View, minutes: float
) -> None:
    _, view = take_reading(record, dead.job.id, "motor_ohms", "0.2", at(minutes))
    assert view.job.minutes == ()
    assert view.job.minutes_by_step() == {"cover": 5.0, "plug": 1.0}  # as reckoned


def test_a_visit_is_a_calendar_day_in_the_shops_zone(record: Record, dead: View) -> None:
    west = timezone(timedelta(hours=-8))
    late = datetime(2026, 3, 2, 6, tzinfo=UTC)  # still the evening of 1 March out west
    take_reading(record, dead.job.id, "harness_rest", "0.3", At(late.astimezone(west), "Ana"))
    _, view = take_reading(
        record,
        dead.job.id,
        "harness_rest",
        "0.3",
        At((late + timedelta(hours=9)).astimezone(west), "Ana"),
    )
    assert [r.visit for r in view.job.readings] == ["2026-03-01", "2026-03-02"]
    assert {w.group[0] for w in view.assessment.belief.weighed} == {0, 1}


def test_a_good_reading_at_rest_does_not_clear_what_is_loose(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    view = open_job(record, CheckIn(small, "cuts_out", "cuts out on bumps", meter), at())
    _, view = take_reading(record, view.job.id, "harness_rest", "0.3 ohm", at(5))
    assert standing(view, "harness") == "open"
    assert beliefs(view)["harness"] > 0.5
    _, view = take_reading(record, view.job.id, "harness_wiggle", "jumps 3-80", at(9))
    assert view.assessment.proof.proven
    assert view.assessment.proof.parts == {"harness"}


def test_several_readings_are_judged_together(record: Record, dead: View) -> None:
    taken, _ = take_readings(
        record, dead.job.id, [("terminals", "yes"), ("water_marks", "no")], at(2)
    )
    assert [t.number for t in taken] == [1, 2]
    assert [t.judged.verdict for t in taken if t.judged] == ["good", "bad"]
    seqs = {e.event.reading_id: e.seq for e in record.log.events(dead.job.id)
            if isinstance(e.event, ev.ReadingJudged)}  # fmt: skip
    assert len(seqs) == 2


def test_a_resent_entry_is_stored_once(record: Record, dead: View) -> None:
    phone = At(at(2).now, "Ana", "phone", 4, dead.job.last_seq)
    take_reading(record, dead.job.id, "pack_rest", "57.9", phone, "r1")
    before = len(record.log.events(dead.job.id))
    take_reading_again = record.append(
        dead.job.id,
        [e.event for e in record.log.events(dead.job.id) if e.device == "phone"],
        phone,
    )
    assert len(record.log.events(dead.job.id)) == before
    assert [e.device_seq for e in take_reading_again] == [4, 5, 6]


def test_another_meter_counts_from_here_on(record: Record, dead: View) -> None:
    first, _ = take_reading(record, dead.job.id, "pack_rest", "57.9", at(2))
    view = bench.change_meter(record, dead.job.id, find_meter("generic-2000"), at(3))
    assert view.meter is not None and view.meter.name == "generic-2000"
    second, view = take_reading(record, dead.job.id, "pack_rest", "57.9", at(4))
    assert [r.value().meter for r in view.job.readings] == ["generic-6000", "generic-2000"]
    assert second.reading.u > first.reading.u


def test_what_cannot_be_is_refused_with_the_way_out(record: Record, dead: View) -> None:
    job = dead.job.id
    for call, words in [
        (lambda: take_reading(record, job, "pack_res", "1", at()), "Did you mean pack_rest"),
        (lambda: take_reading(record, "none", "pack_rest", "1", at()), "no job"),
        (lambda: bench.withdraw(record, job, "x", "", at()), "no reading"),
        (lambda: bench.reading_numbered(dead.job, 3), "none yet"),
        (lambda: bench.open_step(record, job, "covr", at()), "Did you mean cover"),
        (lambda: apart.put_step_back(record, job, "cover", at()), "not off"),
        (lambda: bench.note(record, job, "  ", at()), "needs words"),
    ]:
        with pytest.raises(Refused, match=words):
            call()
    assert len(record.log.events(job)) == 1


def test_teardown_by_hand_keeps_where_things_lie(record: Record, dead: View) -> None:
    view = bench.open_step(record, dead.job.id, "plug", at(6), "tray 3")
    assert [(s.step, s.where) for s in view.job.open_steps] == [("cover", ""), ("plug", "tray 3")]
    with pytest.raises(Refused, match="still off inside it: unplug the controller"):
        apart.put_step_back(record, dead.job.id, "cover", at(8))
    view = apart.put_step_back(record, dead.job.id, "plug", at(9))
    assert [s.step for s in view.job.open_steps] == ["cover"]


def test_a_cover_closed_over_something_says_so_with_its_reason(record: Record, dead: View) -> None:
    bench.open_step(record, dead.job.id, "plug", at(6))
    view = apart.put_step_back(
        record, dead.job.id, "cover", at(8), anyway="the plug waits for a new pin"
    )
    assert [s.step for s in view.job.open_steps] == ["plug"]
    assert view.job.notes[-1].text == (
        "Closed all the same: lift the controller cover; still off inside it: unplug the "
        "controller. the plug waits for a new pin"
    )


def test_looking_writes_nothing(record: Record, dead: View) -> None:
    look(record, dead.job.id)
    assert len(record.log.events(dead.job.id)) == 1


def test_what_a_look_found_and_was_put_right_no_longer_counts(
    record: Record, meter: Known[MeterSheet]
) -> None:
    """A worn chain beside the real fault: with a new one on, the saw goes on as if it had been
    sharp, and the first answer stays on the job as it was said."""
    saw = find_machine("chainsaw-56v")
    job = open_job(record, CheckIn(saw, "stops_load", "stops in the cut", meter), at()).job.id
    sharp = open_job(record, CheckIn(saw, "stops_load", "stops in the cut", meter), at()).job.id
    _, worn = take_reading(record, job, "look_chain", "no", at(1))
    assert beliefs(worn)["chain"] > 0.4
    held = worn.assessment.held_back
    assert "cut_run" in held and "read it again" in held["cut_run"]

    _, mended = take_reading(record, job, "look_chain", "yes", at(2))
    _, as_good = take_reading(record, sharp, "look_chain", "yes", at(2))
    assert beliefs(mended) == beliefs(as_good)
    assert mended.assessment.held_back == as_good.assessment.held_back
    assert [(r.text, r.live) for r in mended.job.readings] == [("no", True), ("yes", True)]

    _, again = take_reading(record, job, "look_chain", "no", at(3))
    assert beliefs(again) == beliefs(worn)


def test_a_hazard_once_seen_is_not_looked_away(record: Record) -> None:
    mower = find_machine("mower-battery-56v")
    look = next(t for t in mower.it.tests if t.hazard)
    job = open_job(record, CheckIn(mower, "dead", "dead", None), at()).job.id
    bad = bad_answer(look)
    good = "no" if bad == "yes" else "yes"
    take_reading(record, job, look.id, bad, at(1))
    _, view = take_reading(record, job, look.id, good, at(2))
    assert [h.part for h in view.assessment.hazards] == [look.hazard]
