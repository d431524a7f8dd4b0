"""The job as its events tell it. `replay` is the only way to make one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from knowngood.job import events as ev
from knowngood.job.changed import look_at_this
from knowngood.job.events import Envelope, Event, JobOpened
from knowngood.job.things import (
    Cause,
    Check,
    Closed,
    Decision,
    JobReading,
    Look,
    MinutesSpent,
    NamedPart,
    Note,
    Picture,
    Stamp,
    TeardownDone,
    ToldThing,
)


@dataclass(frozen=True, slots=True)
class Job:
    """One job, in the order things happened. Minutes are minutes of work.

    `opened` is None only when the record starts in the middle (a job from another store that was
    not sent whole). `last_seq` is what a device names as `based_on`.
    """

    id: str
    number: str
    opened: JobOpened | None
    opened_at: Stamp | None
    machine_digest: str
    meter: str
    meter_digest: str
    readings: tuple[JobReading, ...]
    told: tuple[ToldThing, ...]
    accepted: tuple[NamedPart, ...]
    called: tuple[NamedPart, ...]
    steps: tuple[TeardownDone, ...]
    minutes: tuple[MinutesSpent, ...]
    pictures: tuple[Picture, ...]
    causes: tuple[Cause, ...]
    decision: Decision | None
    release: tuple[Check, ...]
    notes: tuple[Note, ...]
    closed: Closed | None
    look_at_this: tuple[Look, ...]
    last: Stamp | None

    @property
    def last_seq(self) -> int:
        return self.last.seq if self.last else 0

    @property
    def name(self) -> str:
        """The number, or the first of the id while the job has none."""
        return self.number or self.id[:8]

    @property
    def live_readings(self) -> tuple[JobReading, ...]:
        return tuple(reading for reading in self.readings if reading.live)

    @property
    def open_steps(self) -> tuple[TeardownDone, ...]:
        """What is off, in the order it came off; the rebuild goes backwards."""
        return tuple(step for step in self.steps if step.is_open)

    @property
    def state(self) -> str:
        """Where the job stands, in words."""
        return _state(self)

    def reading(self, reading_id: str) -> JobReading | None:
        return next((one for one in self.readings if one.id == reading_id), None)

    def minutes_by_step(self) -> dict[str, float]:
        """Minutes a step or task. Minutes noted for a step replace what was reckoned for it."""
        total: dict[str, float] = {}
        for step in self.steps:
            total[step.step] = total.get(step.step, 0.0) + step.minutes
        noted: dict[str, float] = {}
        for spent in self.minutes:
            noted[spent.what] = noted.get(spent.what, 0.0) + spent.minutes
        return {**total, **noted}


def replay(events: Iterable[Envelope]) -> Job:
    """The job that these events made, whatever order they are handed over in.

    Raises ValueError when there are none, or they belong to more than one job.
    """
    history = sorted({envelope.seq: envelope for envelope in events}.values(), key=_by_seq)
    if not history:
        raise ValueError("a job has at least one event; these are none")
    jobs = sorted({envelope.job for envelope in history})
    if len(jobs) > 1:
        raise ValueError(f"events of {len(jobs)} jobs together: {jobs[0]}, {jobs[1]}")
    draft = _Draft()
    for envelope in history:
        event = envelope.event
        _APPLY[type(event)](draft, event, Stamp.of(envelope))
    return draft.finish(jobs[0], history)


class _Draft:
    """A job while its events are read."""

    def __init__(self) -> None:
        self.opened: JobOpened | None = None
        self.opened_at: Stamp | None = None
        self.number = self.machine_digest = self.meter = self.meter_digest = ""
        self.readings: dict[str, JobReading] = {}
        self.judged: dict[str, tuple[ev.ReadingJudged, Stamp]] = {}
        self.gone: dict[str, tuple[str, Stamp, str]] = {}  # why, when, corrected by
        self.told: dict[str, ToldThing] = {}
        self.accepted: dict[str, NamedPart] = {}
        self.called: dict[str, NamedPart] = {}
        self.steps: list[TeardownDone] = []
        self.minutes: list[MinutesSpent] = []
        self.pictures: dict[str, Picture] = {}
        self.causes: dict[str, Cause] = {}
        self.decision: Decision | None = None
        self.release: dict[str, Check] = {}
        self.notes: list[Note] = []
        self.closed: Closed | None = None

    def finish(self, job: str, history: list[Envelope]) -> Job:
        # Judged and withdrawn are joined last: on two devices they may arrive in any order.
        readings = tuple(self._joined(reading) for reading in self.readings.values())
        release = tuple(self.release.values())
        return Job(
            id=job,
            number=self.number,
            opened=self.opened,
            opened_at=self.opened_at,
            machine_digest=self.machine_digest,
            meter=self.meter,
            meter_digest=self.meter_digest,
            readings=readings,
            told=tuple(self.told.values()),
            accepted=tuple(self.accepted.values()),
            called=tuple(self.called.values()),
            steps=tuple(self.steps),
            minutes=tuple(self.minutes),
            pictures=tuple(self.pictures.values()),
            causes=tuple(self.causes.values()),
            decision=self.decision,
            release=release,
            notes=tuple(self.notes),
            closed=self.closed,
            look_at_this=look_at_this(history, readings, self.decision, release, self.closed),
            last=Stamp.of(history[-1]),
        )

    def _joined(self, reading: JobReading) -> JobReading:
        if reading.id in self.judged:
            said, at = self.judged[reading.id]
            reading = replace(
                reading, verdict=said.verdict, sentence=said.sentence, shown=said.shown, judged=at
            )
        if reading.id in self.gone:
            reason, at, by_reading = self.gone[reading.id]
            reading = replace(reading, withdrawn=at, reason=reason, corrected_by=by_reading)
        return reading

    def job_opened(self, event: ev.JobOpened, at: Stamp) -> None:
        if self.opened is not None:
            self.notes.append(Note(f"opened a second time, as {event.number or 'no number'}", at))
            return
        self.opened, self.opened_at = event, at
        self.number = self.number or event.number
        self.machine_digest = self.machine_digest or event.machine_digest
        if not self.meter:
            self.meter, self.meter_digest = event.meter, event.meter_digest

    def number_given(self, event: ev.NumberGiven, at: Stamp) -> None:
        self.number = event.number

    def details_noted(self, event: ev.DetailsNoted, at: Stamp) -> None:
        if self.opened is not None:
            named = {f.name: getattr(event, f.name) for f in fields(event)}
            self.opened = replace(self.opened, **{k: v for k, v in named.items() if v})

    def meter_chosen(self, event: ev.MeterChosen, at: Stamp) -> None:
        self.meter, self.meter_digest = event.name, event.digest

    def machine_adopted(self, event: ev.MachineAdopted, at: Stamp) -> None:
        self.machine_digest = event.digest

    def reading_taken(self, event: ev.ReadingTaken, at: Stamp) -> None:
        if event.reading_id in self.readings:
            self.notes.append(Note(f"reading {event.text!r} under an id already used", at))
            return
        self.readings[event.reading_id] = JobReading(
            id=event.reading_id,
            test=event.test,
            question=event.question,
            text=event.text,
            reading=event.reading,
            condition=event.condition,
            circumstance=event.circumstance,
            visit=event.visit,
            grade=event.grade,
            corrects=event.corrects,
            taken=at,
        )
        if event.corrects and event.corrects != event.reading_id:
            self.gone.setdefault(event.corrects, ("corrected", at, event.reading_id))

    def reading_judged(self, event: ev.ReadingJudged, at: Stamp) -> None:
        self.judged[event.reading_id] = (event, at)

    def reading_withdrawn(self, event: ev.ReadingWithdrawn, at: Stamp) -> None:
        self.gone.setdefault(event.reading_id, (event.reason, at, ""))

    def told_noted(self, event: ev.ToldNoted, at: Stamp) -> None:
        self.told[event.told_id] = ToldThing(event.told_id, event.words, at)

    def told_withdrawn(self, event: ev.ToldWithdrawn, at: Stamp) -> None:
        self.told.pop(event.told_id, None)

    def part_accepted(self, event: ev.Accepted, at: Stamp) -> None:
        self.accepted[event.part] = NamedPart(event.part, event.words, event.by, at)

    def accept_withdrawn(self, event: ev.AcceptWithdrawn, at: Stamp) -> None:
        self.accepted.pop(event.part, None)

    def part_called(self, event: ev.PartCalled, at: Stamp) -> None:
        self.called.pop(event.part, None)  # the latest call comes last
        self.called[event.part] = NamedPart(event.part, event.words, event.by, at)

    def call_withdrawn(self, event: ev.CallWithdrawn, at: Stamp) -> None:
        self.called.pop(event.part, None)

    def step_opened(self, event: ev.StepOpened, at: Stamp) -> None:
        if any(step.step == event.step and step.is_open for step in self.steps):
            return  # both phones said so
        self.steps.append(
            TeardownDone(event.step, event.words, event.minutes, event.where, opened=at)
        )

    def step_closed(self, event: ev.StepClosed, at: Stamp) -> None:
        self.steps = [
            replace(step, closed=at) if step.step == event.step and step.is_open else step
            for step in self.steps
        ]

    def minutes_noted(self, event: ev.MinutesNoted, at: Stamp) -> None:
        self.minutes.append(MinutesSpent(event.what, event.minutes, event.measured, at))

    def picture_added(self, event: ev.PictureAdded, at: Stamp) -> None:
        self.pictures[event.digest] = Picture(event.digest, event.caption, event.about, at)

    def picture_withdrawn(self, event: ev.PictureWithdrawn, at: Stamp) -> None:
        self.pictures.pop(event.digest, None)

    def cause_answered(self, event: ev.CauseAnswered, at: Stamp) -> None:
        self.causes[event.cause] = Cause(
            event.cause,
            event.words,
            event.ask,
            event.answer,
            event.evidence,
            event.mend,
            event.by or at.by,
            at,
        )

    def part_decided(self, event: ev.PartDecided, at: Stamp) -> None:
        self.decision = Decision(
            event.part, event.words, event.number, event.proven, event.sentence, event.proof, at
        )

    def decision_withdrawn(self, event: ev.DecisionWithdrawn, at: Stamp) -> None:
        self.decision = None

    def release_checked(self, event: ev.ReleaseChecked, at: Stamp) -> None:
        self.release[event.check] = Check(event.check, event.words, event.result, event.reason, at)

    def note_added(self, event: ev.NoteAdded, at: Stamp) -> None:
        self.notes.append(Note(event.text, at))

    def job_closed(self, event: ev.JobClosed, at: Stamp) -> None:
        self.closed = Closed(event.outcome, event.words, at)

    def job_reopened(self, event: ev.JobReopened, at: Stamp) -> None:
        self.closed = None
        self.notes.append(Note(f"reopened: {event.reason}" if event.reason else "reopened", at))

    def unknown(self, event: ev.Unknown, at: Stamp) -> None:
        body: Mapping[str, Any] = event.body.get("body", {})
        words = "; ".join(f"{key}: {value}" for key, value in body.items())
        self.notes.append(Note(f"{event.name}, recorded by a newer version. {words}".strip(), at))


_APPLY: Mapping[type[Event], Callable[[_Draft, Any, Stamp], None]] = {
    ev.JobOpened: _Draft.job_opened,
    ev.NumberGiven: _Draft.number_given,
    ev.DetailsNoted: _Draft.details_noted,
    ev.MeterChosen: _Draft.meter_chosen,
    ev.MachineAdopted: _Draft.machine_adopted,
    ev.ReadingTaken: _Draft.reading_taken,
    ev.ReadingJudged: _Draft.reading_judged,
    ev.ReadingWithdrawn: _Draft.reading_withdrawn,
    ev.ToldNoted: _Draft.told_noted,
    ev.ToldWithdrawn: _Draft.told_withdrawn,
    ev.Accepted: _Draft.part_accepted,
    ev.AcceptWithdrawn: _Draft.accept_withdrawn,
    ev.PartCalled: _Draft.part_called,
    ev.CallWithdrawn: _Draft.call_withdrawn,
    ev.StepOpened: _Draft.step_opened,
    ev.StepClosed: _Draft.step_closed,
    ev.MinutesNoted: _Draft.minutes_noted,
    ev.PictureAdded: _Draft.picture_added,
    ev.PictureWithdrawn: _Draft.picture_withdrawn,
    ev.CauseAnswered: _Draft.cause_answered,
    ev.PartDecided: _Draft.part_decided,
    ev.DecisionWithdrawn: _Draft.decision_withdrawn,
    ev.ReleaseChecked: _Draft.release_checked,
    ev.NoteAdded: _Draft.note_added,
    ev.JobClosed: _Draft.job_closed,
    ev.JobReopened: _Draft.job_reopened,
    ev.Unknown: _Draft.unknown,
}


def _by_seq(envelope: Envelope) -> int:
    return envelope.seq


def _state(job: Job) -> str:
    if job.closed is not None:
        return f"closed: {job.closed.outcome}"
    said = [_where_diagnosis_stands(job)]
    if job.open_steps:
        said.append(_count(len(job.open_steps), "step", "open"))
    failed = [check for check in job.release if check.result == "fail"]
    if failed:
        said.append(f"held: {', '.join(check.words or check.check for check in failed)} failed")
    elif job.release:
        said.append(_count(len(job.release), "release check", "done"))
    if job.look_at_this:
        said.append(_count(len(job.look_at_this), "thing", "to look at"))
    return ", ".join(said)


def _where_diagnosis_stands(job: Job) -> str:
    if job.decision is not None:
        words = job.decision.words or job.decision.part
        return f"{words} proven" if job.decision.proven else f"{words} decided, not proven"
    if job.called:
        last = job.called[-1]
        return f"{last.words or last.part} called by {last.by or 'somebody'}, not proven yet"
    if job.live_readings:
        return _count(len(job.live_readings), "reading", "and no part named yet")
    return "checked in, nothing measured yet"


def _count(number: int, noun: str, rest: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'} {rest}"
