"""What happened at the bench, event by event."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from typing import Any, get_args

from knowngood.job import events as ev
from knowngood.job.events import Event, JobOpened
from knowngood.job.own_machines import OwnMachineEvent
from knowngood.job.plain import Stamp
from knowngood.job.shop_files import ShopFileEvent
from knowngood.job.shop_sheet import ShopNoted
from knowngood.job.stockroom import StockroomEvent
from knowngood.job.things import (
    NO_REASON,
    Cause,
    Check,
    Closed,
    Decision,
    Details,
    JobReading,
    MinutesSpent,
    NamedPart,
    Note,
    Picture,
    TeardownDone,
    ToldThing,
)


class Draft:
    """What happened at the bench, while its events are read."""

    def __init__(self) -> None:
        self.opened: JobOpened | None = None
        self.opened_at: Stamp | None = None
        self.number = self.machine_digest = self.meter = self.meter_digest = ""
        self.machine_file: ev.MachineFileNoted | None = None
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
        self.details: list[Details] = []
        self.closed: Closed | None = None

    def all_readings(self) -> tuple[JobReading, ...]:
        """Judged and withdrawn are joined last: on two devices they may arrive in any order."""
        return tuple(self._joined(reading) for reading in self.readings.values())

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
        self.details.append(Details(event, at))

    def opened_now(self) -> JobOpened | None:
        """The check-in with what was noted since."""
        opened = self.opened
        for said in self.details if opened is not None else ():
            named = {f.name: getattr(said.noted, f.name) for f in fields(said.noted)}
            opened = replace(opened, **{k: v for k, v in named.items() if v})  # type: ignore[type-var]
        return opened

    def meter_chosen(self, event: ev.MeterChosen, at: Stamp) -> None:
        self.meter, self.meter_digest = event.name, event.digest

    def machine_adopted(self, event: ev.MachineAdopted, at: Stamp) -> None:
        self.machine_digest = event.digest

    def machine_file_noted(self, event: ev.MachineFileNoted, at: Stamp) -> None:
        self.machine_file = event

    def machine_named(self, event: ev.MachineNamed, at: Stamp) -> None:
        self.machine_digest, self.machine_file = event.digest, None
        if self.opened is not None:
            self.opened = replace(
                self.opened,
                machine_id=event.machine_id,
                machine_digest=event.digest,
                complaint=event.complaint,
            )

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
        reason, first, by_reading = self.gone.get(event.reading_id, ("", at, ""))
        if not by_reading:  # one said later fills in why, and leaves when
            reason = event.reason if reason in NO_REASON else reason
            self.gone[event.reading_id] = (reason, first, by_reading)

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

    def entry_withdrawn(self, event: ev.EntryWithdrawn, at: Stamp) -> None:
        match event.what:
            case "cause":
                self.causes.pop(event.id, None)
            case "check":
                self.release.pop(event.id, None)
            case "details" if self.details:
                self.details.pop()
            case "note":
                alike = [n for n in self.notes if n.text == event.id]
                if alike:
                    self.notes.remove(alike[-1])

    def job_closed(self, event: ev.JobClosed, at: Stamp) -> None:
        self.closed = Closed(event.outcome, event.words, at)

    def job_reopened(self, event: ev.JobReopened, at: Stamp) -> None:
        self.closed = None
        self.notes.append(Note(f"reopened: {event.reason}" if event.reason else "reopened", at))

    def shop_noted(
        self, event: ShopNoted | OwnMachineEvent | ShopFileEvent, at: Stamp
    ) -> None:
        self.notes.append(Note("a sheet of the shop, which belongs to no job", at))

    def stock_noted(self, event: StockroomEvent, at: Stamp) -> None:
        self.notes.append(Note("a line of the stockroom, which belongs to no job", at))

    def unknown(self, event: ev.Unknown, at: Stamp) -> None:
        body: Mapping[str, Any] = event.body.get("body", {})
        words = "; ".join(f"{key}: {value}" for key, value in body.items())
        self.notes.append(Note(f"{event.name}, recorded by a newer version. {words}".strip(), at))


BENCH: Mapping[type[Event], Callable[[Draft, Any, Stamp], None]] = {
    ev.JobOpened: Draft.job_opened,
    ev.NumberGiven: Draft.number_given,
    ev.DetailsNoted: Draft.details_noted,
    ev.MeterChosen: Draft.meter_chosen,
    ev.MachineAdopted: Draft.machine_adopted,
    ev.MachineNamed: Draft.machine_named,
    ev.MachineFileNoted: Draft.machine_file_noted,
    ev.ReadingTaken: Draft.reading_taken,
    ev.ReadingJudged: Draft.reading_judged,
    ev.ReadingWithdrawn: Draft.reading_withdrawn,
    ev.ToldNoted: Draft.told_noted,
    ev.ToldWithdrawn: Draft.told_withdrawn,
    ev.Accepted: Draft.part_accepted,
    ev.AcceptWithdrawn: Draft.accept_withdrawn,
    ev.PartCalled: Draft.part_called,
    ev.CallWithdrawn: Draft.call_withdrawn,
    ev.StepOpened: Draft.step_opened,
    ev.StepClosed: Draft.step_closed,
    ev.MinutesNoted: Draft.minutes_noted,
    ev.PictureAdded: Draft.picture_added,
    ev.PictureWithdrawn: Draft.picture_withdrawn,
    ev.CauseAnswered: Draft.cause_answered,
    ev.PartDecided: Draft.part_decided,
    ev.DecisionWithdrawn: Draft.decision_withdrawn,
    ev.ReleaseChecked: Draft.release_checked,
    ev.NoteAdded: Draft.note_added,
    ev.EntryWithdrawn: Draft.entry_withdrawn,
    ev.JobClosed: Draft.job_closed,
    ev.JobReopened: Draft.job_reopened,
    **dict.fromkeys(
        (ShopNoted, *get_args(OwnMachineEvent), *get_args(ShopFileEvent)), Draft.shop_noted
    ),
    **dict.fromkeys(get_args(StockroomEvent), Draft.stock_noted),
    ev.Unknown: Draft.unknown,
}
