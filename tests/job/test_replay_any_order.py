"""Replay depends on what is in the record and nothing else."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.job import events as ev
from knowngood.job.job import replay
from tests.job.record import OPENED, told, volts

IDS = st.sampled_from(["a", "b", "c"])
DEVICES = st.sampled_from(["bench", "phone"])
EVENTS = st.one_of(
    st.builds(lambda i: volts(i, 20.0), IDS),
    st.builds(lambda i, j: volts(i, 19.0, corrects=j), IDS, IDS),
    st.builds(ev.ReadingJudged, IDS, st.just("good"), st.text(max_size=5)),
    st.builds(ev.ReadingWithdrawn, IDS),
    st.builds(ev.StepOpened, IDS, st.just("Step"), st.floats(0, 60)),
    st.builds(ev.StepClosed, IDS),
    st.builds(ev.PartDecided, IDS, IDS, st.just("1"), st.booleans(), st.just("")),
    st.builds(ev.PartCalled, IDS, IDS, IDS),
    st.builds(ev.CallWithdrawn, IDS),
    st.builds(ev.ReleaseChecked, IDS, IDS, st.sampled_from(["pass", "fail", "not applicable"])),
    st.just(ev.JobClosed("repaired")),
    st.just(ev.JobReopened()),
    st.just(OPENED),
)
HISTORY = st.lists(st.tuples(EVENTS, DEVICES, st.integers(0, 12)), min_size=1, max_size=25)


@given(HISTORY, st.integers())
@settings(max_examples=150, deadline=None)
def test_same_record_same_job(history: list[tuple[ev.Event, str, int]], seed: int) -> None:
    envelopes = told(*history)
    job = replay(envelopes)
    mixed = [*envelopes, *envelopes[:3]]  # in any order, and some handed over twice
    random.Random(seed).shuffle(mixed)
    assert replay(mixed) == job
    assert replay(iter(envelopes)) == job


@given(HISTORY)
@settings(max_examples=150, deadline=None)
def test_what_holds_of_every_job(history: list[tuple[ev.Event, str, int]]) -> None:
    envelopes = told(*history)
    job = replay(envelopes)
    taken = {e.event.reading_id for e in envelopes if isinstance(e.event, ev.ReadingTaken)}
    assert {reading.id for reading in job.readings} == taken  # none lost, none made up
    off = [step.step for step in job.open_steps]
    assert len(off) == len(set(off))  # nothing is off twice
    assert all(look.at.seq <= job.last_seq for look in job.look_at_this)
    ends = [e.event for e in envelopes if isinstance(e.event, ev.JobClosed | ev.JobReopened)]
    assert (job.closed is not None) == bool(ends and isinstance(ends[-1], ev.JobClosed))
