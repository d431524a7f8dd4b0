"""The job as its events tell it. `replay` is the only way to make one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from knowngood.job.apart import Apart
from knowngood.job.changed import look_at_this
from knowngood.job.chapters import empty_chapters, turn
from knowngood.job.counter import Counter
from knowngood.job.draft import BENCH, Draft
from knowngood.job.events import Envelope, JobOpened, MachineFileNoted
from knowngood.job.learning import Learning
from knowngood.job.paperwork import Paperwork
from knowngood.job.shelf import Shelf
from knowngood.job.things import (
    Cause,
    Check,
    Closed,
    Decision,
    Details,
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
from knowngood.job.worded import words_that_hold


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
    machine_file: MachineFileNoted | None
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
    details: tuple[Details, ...]
    closed: Closed | None
    look_at_this: tuple[Look, ...]
    last: Stamp | None
    counter: Counter
    paperwork: Paperwork
    apart: Apart
    shelf: Shelf
    learning: Learning

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
        """Minutes a step or task. Minutes noted for a step replace what was reckoned for it,
        minutes put right replace what was noted before."""
        total: dict[str, float] = {}
        for step in self.steps:
            total[step.step] = total.get(step.step, 0.0) + step.minutes
        noted: dict[str, float] = {}
        for spent in self.minutes:
            noted[spent.what] = noted.get(spent.what, 0.0) + spent.minutes
        for what, mended in self.apart.mended.items():
            since = [s for s in self.minutes if s.what == what and s.at.seq > mended.at.seq]
            noted[what] = mended.minutes + sum(s.minutes for s in since)
        return {**total, **noted}

    def clocked_by_step(self) -> dict[str, float]:
        """Of those minutes the ones that a clock measured, and that nobody has put right since."""
        clocked: dict[str, float] = {}
        for spent in self.minutes:
            mended = self.apart.mended.get(spent.what)
            if spent.measured and (mended is None or spent.at.seq > mended.at.seq):
                clocked[spent.what] = clocked.get(spent.what, 0.0) + spent.minutes
        return clocked


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
    draft, chapters = Draft(), empty_chapters()
    for envelope in history:
        event, at = envelope.event, Stamp.of(envelope)
        if not turn(chapters, event, at):
            BENCH[type(event)](draft, event, at)
    chapters["paperwork"] = words_that_hold(chapters["paperwork"], history, draft.decision)
    readings, release = draft.all_readings(), tuple(draft.release.values())
    return Job(
        id=jobs[0],
        number=draft.number,
        opened=draft.opened_now(),
        opened_at=draft.opened_at,
        machine_digest=draft.machine_digest,
        machine_file=draft.machine_file,
        meter=draft.meter,
        meter_digest=draft.meter_digest,
        readings=readings,
        told=tuple(draft.told.values()),
        accepted=tuple(draft.accepted.values()),
        called=tuple(draft.called.values()),
        steps=tuple(draft.steps),
        minutes=tuple(draft.minutes),
        pictures=tuple(draft.pictures.values()),
        causes=tuple(draft.causes.values()),
        decision=_with_number(draft.decision, chapters["shelf"]),
        release=release,
        notes=tuple(draft.notes),
        details=tuple(draft.details),
        closed=draft.closed,
        look_at_this=look_at_this(history, readings, draft.decision, release, draft.closed),
        last=Stamp.of(history[-1]),
        **chapters,
    )


def _with_number(decision: Decision | None, shelf: Shelf) -> Decision | None:
    """A part whose number was not known when it was decided has that under which it was ordered."""
    if decision is None or decision.number or decision.part not in shelf.orders:
        return decision
    return replace(decision, number=shelf.orders[decision.part].number)


def _by_seq(envelope: Envelope) -> int:
    return envelope.seq


def _state(job: Job) -> str:
    if job.closed is not None:
        return f"closed: {job.closed.named}"
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
