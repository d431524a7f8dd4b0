"""A job is what its events say, no more."""

from __future__ import annotations

import pytest

from knowngood.job import events as ev
from knowngood.job.counter import PaymentWithdrawn
from knowngood.job.job import replay
from knowngood.job.words import in_words, next_in_words
from tests.job.record import OPENED, told, volts
from tests.old_records.make import LATER

DECIDED = ev.PartDecided("trigger", "Trigger switch", "TS-114", True, "Only the trigger is left.")


def test_a_job_from_check_in_to_close() -> None:
    job = replay(
        told(
            OPENED,
            ev.ToldNoted("charged", "it was charged last night"),
            volts("r1", 20.1),
            ev.ReadingJudged("r1", "good", "The pack is good.", {"fits": True, "next": "trigger"}),
            ev.Accepted("motor", "ran it on the stand", "Ida"),
            ev.StepOpened("shell", "Right half of the shell", 6, "tray 2"),
            ev.PartCalled("trigger", "Trigger switch", "Sam"),
            volts("r2", 0.012, "12 mV"),
            DECIDED,
            ev.CauseAnswered("dust", "metal dust", "Dust in the trigger?", "yes", "seen", "sealed"),
            ev.StepClosed("shell"),
            ev.ReleaseChecked("trigger-off", "Stops when the trigger is let go", "pass"),
            ev.MinutesNoted("shell", 9.5, measured=True),
            ev.JobClosed("repaired"),
        )
    )
    assert (job.number, job.state) == ("26-0007", "closed: repaired")
    assert [(r.id, r.text, r.verdict) for r in job.live_readings] == [
        ("r1", "20.1 V", "good"),
        ("r2", "12 mV", ""),
    ]
    assert job.readings[0].value().low == 20.1
    assert job.accepted[0].by == "Ida"
    assert [(s.step, s.where, s.is_open) for s in job.steps] == [("shell", "tray 2", False)]
    assert job.minutes_by_step() == {"shell": 9.5}  # the clock replaces the reckoning
    assert job.causes[0].by == "Sam"  # nobody named: whoever sent it
    assert job.look_at_this == ()
    assert next_in_words(job) == "nothing; the job is closed"


@pytest.mark.parametrize(
    ("events", "state", "next_step"),
    [
        ([], "checked in, nothing measured yet", "the first reading"),
        ([volts("r1", 20)], "1 reading and no part named yet", "the next reading"),
        (
            [ev.PartCalled("trigger", "Trigger switch", "Sam")],
            "Trigger switch called by Sam, not proven yet",
            "prove it: Trigger switch",
        ),
        (
            [ev.StepOpened("shell", "Shell"), DECIDED],
            "Trigger switch proven, 1 step open",
            "order Trigger switch TS-114; once it is here fit it, then put it together again",
        ),
        (
            [DECIDED, ev.ReleaseChecked("stop", "Blade stop", "fail", "5 s")],
            "Trigger switch proven, held: Blade stop failed",
            "mend what failed, then check again: Blade stop",
        ),
        (
            [DECIDED, ev.DecisionWithdrawn("the new one does the same")],
            "checked in, nothing measured yet",
            "the first reading",
        ),
    ],
)
def test_where_it_stands_in_words(events: list[ev.Event], state: str, next_step: str) -> None:
    job = replay(told(OPENED, *events))
    assert (job.state, next_in_words(job)) == (state, next_step)


def test_a_withdrawn_reading_stays_but_does_not_count() -> None:
    job = replay(told(OPENED, volts("r1", 20), ev.ReadingWithdrawn("r1", "wrong socket")))
    assert job.live_readings == ()
    assert job.readings[0].reason == "wrong socket"
    assert job.readings[0].withdrawn is not None


def test_a_corrected_reading_points_to_what_replaced_it() -> None:
    job = replay(told(OPENED, volts("r1", 2), volts("r2", 20, corrects="r1")))
    assert [r.id for r in job.live_readings] == ["r2"]
    assert job.reading("r1") is not None
    assert job.readings[0].corrected_by == "r2"


def test_judged_on_one_device_before_the_reading_came_from_the_other() -> None:
    job = replay(
        told(
            OPENED,
            (ev.ReadingJudged("r1", "good", "Good."), "phone"),
            (ev.ReadingWithdrawn("r2"), "phone"),
            volts("r1", 20),
            volts("r2", 20),
        )
    )
    assert [(r.id, r.verdict, r.live) for r in job.readings] == [
        ("r1", "good", True),
        ("r2", "", False),
    ]


def test_a_step_opened_on_both_phones_is_open_once() -> None:
    step = ev.StepOpened("shell", "Shell", 6)
    job = replay(told(OPENED, step, (step, "phone", 1), ev.StepClosed("shell"), step))
    assert [s.is_open for s in job.steps] == [False, True]
    assert job.minutes_by_step() == {"shell": 12.0}  # opened twice in truth


def test_a_kind_from_a_later_version_is_kept_as_a_note() -> None:
    body = {"version": 3, "body": {"words": "ten days", "until": "Friday"}}
    job = replay(told(OPENED, ev.Unknown("PartPromised", body)))
    assert "PartPromised" in job.notes[0].text and "until: Friday" in job.notes[0].text


def test_a_job_started_offline_gets_its_number_later() -> None:
    opened = ev.JobOpened("", "brackwater-bt20", "", "dead")
    assert replay(told(opened)).name == "j1"
    assert replay(told(opened, ev.NumberGiven("26-0009"))).name == "26-0009"


def test_no_events_or_two_jobs_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        replay([])
    two = told(OPENED)
    other = ev.Envelope(**{**{n: getattr(two[0], n) for n in ev.Envelope.__slots__}, "job": "j2"})
    other = ev.Envelope(**{**{n: getattr(other, n) for n in ev.Envelope.__slots__}, "seq": 2})
    with pytest.raises(ValueError, match="2 jobs"):
        replay([*two, other])


def test_every_kind_has_words() -> None:
    from typing import get_args

    spoken = [in_words(event) for event in _one_of_each()]
    assert {type(event) for event in _one_of_each()} == set(get_args(ev.Event))
    assert all(words.strip() and "None" not in words for words in spoken)


def _one_of_each() -> list[ev.Event]:
    return [
        OPENED,
        PaymentWithdrawn("wrong job"),
        ev.EntryWithdrawn("cause", "dust"),
        ev.NumberGiven("26-0001"),
        ev.DetailsNoted("5120", customer="Mrs. Okafor"),
        ev.MeterChosen("generic-6000", "d"),
        ev.MachineAdopted("d", "new board"),
        volts("r1", 20),
        ev.ReadingJudged("r1", "good", "Good."),
        ev.ReadingWithdrawn("r1"),
        ev.ToldNoted("x", "charged"),
        ev.ToldWithdrawn("x"),
        ev.Accepted("motor", "", "Ida"),
        ev.AcceptWithdrawn("motor"),
        ev.PartCalled("trigger", "", ""),
        ev.CallWithdrawn("trigger"),
        ev.StepOpened("shell", ""),
        ev.StepClosed("shell"),
        ev.MinutesNoted("shell", 3),
        ev.PictureAdded("d"),
        ev.PictureWithdrawn("d"),
        ev.CauseAnswered("dust", "dust", "", "can't tell"),
        DECIDED,
        ev.DecisionWithdrawn(),
        ev.ReleaseChecked("stop", "", "not applicable", "no blade"),
        ev.NoteAdded("hello"),
        ev.JobClosed("repaired"),
        ev.JobReopened(),
        *(event for events in LATER.values() for event in events),
        ev.Unknown("PartPromised", {"version": 1, "body": {}}),
    ]
