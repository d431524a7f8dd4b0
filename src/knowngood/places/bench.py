"""The bench: one machine, reading by reading. Gather, decide, write.

    gather   one read of the log, replayed; machine, meter, prices by the digests the job pinned
    decide   text -> Reading; `assess` in one pass
    write    one transaction; what was shown is stored as it was shown

There is no clock here: `At.now` says when. Every function raises Refused with the way out, or
StoreProblem when nothing could be stored.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from knowngood.diagnosis.steps import opening_order, taking_off
from knowngood.diagnosis.views import Judged
from knowngood.job import events as ev
from knowngood.job.events import Envelope, Event, Grade
from knowngood.job.job import Job, replay
from knowngood.job.things import NO_REASON
from knowngood.machines.machine import Machine, TeardownStep, Test
from knowngood.machines.safety import charged_again
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import PASSED_OVER, Reading
from knowngood.measure.typed import SAME
from knowngood.places.gather import View, load_job, look, setup_of, view_of
from knowngood.places.library import (
    Known,
    find_test,
)
from knowngood.places.minutes import minutes_by_clock
from knowngood.places.opening import CheckIn as CheckIn
from knowngood.places.opening import open_job as open_job
from knowngood.places.points import setup_with
from knowngood.places.record import At, Record, Refused
from knowngood.places.taking import read_for

OTHER_DOUBT = 0.5


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading as kept. ``judged`` is None when it is no evidence: ``reading.note`` says why."""

    id: str
    number: int
    reading: Reading
    judged: Judged | None
    opened: tuple[str, ...]
    closed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Said:
    """How a reading was put: the words kept as its text, what was remarked beside it, and how it
    is known when that is not as its test says."""

    text: str
    remark: str = ""
    grade: Grade | None = None


def take_reading(
    record: Record, job_id: str, test: str, text: str, at: At, reading_id: str = "",
    said: Said | None = None,
) -> tuple[Taken, View]:  # fmt: skip
    """Keep one reading with what it proves; steps that the test needs open are opened with it."""
    taken, view = take_readings(record, job_id, [(test, text)], at, [reading_id], said)
    return taken[0], view


def take_readings(
    record: Record,
    job_id: str,
    readings: Sequence[tuple[str, str]],
    at: At,
    reading_ids: Sequence[str] = (),
    said: Said | None = None,
) -> tuple[list[Taken], View]:
    """Keep several readings (test id, text as typed) at once, judged together."""
    before = record.log.events(job_id)
    if not before:
        raise Refused(f"there is no job {job_id!r}")
    job = replay(before)
    setup = setup_with(setup_of(record, job), [id for id, _ in readings])
    new: list[Event] = []
    taken: list[Taken] = []
    draft = job
    for place, (test_id, text) in enumerate(readings):
        id = (reading_ids[place] if place < len(reading_ids) else "") or uuid.uuid4().hex[:12]
        test = find_test(setup.machine, test_id)
        events, one = _one_reading(
            setup.machine, setup.bench.meter, draft, test, text, id, at, said
        )
        new += events
        taken.append(one)
        draft = replay([*before, *_as_if(before, new, at)])
    view = view_of(record, draft)
    judged = [replace(t, judged=view.judged(t.id)) for t in taken]
    for one in judged:
        new.append(_judgement(view, one))
    record.append(job_id, new, at)
    return judged, replace(view, job=load_job(record, job_id))


def _one_reading(
    machine: Machine, meter: MeterSheet | None, job: Job, test: Test, text: str, id: str, at: At,
    said: Said | None = None,
) -> tuple[list[Event], Taken]:  # fmt: skip
    """The reading with the steps that had to be opened or shut for it."""
    condition = machine.state_of(test)
    mine = [r for r in job.live_readings if r.test == test.id]
    last = mine[-1].value() if mine else None
    same = text.strip(" .!").casefold() in SAME and not test.compare
    if same and last is None:
        last = next((v for r in reversed(job.live_readings) if (v := r.value()).is_evidence), None)
    reading = read_for(test, text, meter, last)
    if same and not reading.is_evidence:
        raise Refused(f"{reading.note}. Nothing is kept")
    if test.compare:
        text = reading.text  # those read before with it
    if said is not None and reading.is_evidence:
        notes = [n for n in (reading.note, said.remark) if n]
        reading, text = replace(reading, text=said.text, note="; ".join(notes)), said.text
    to_correct = mine[-1] if mine and unread(mine[-1].value()) else None
    opened_now = frozenset(s.step for s in job.open_steps)
    got_there = reading.is_evidence or reading.note == "could not tell"
    order = opening_order(machine, condition.open, opened_now) if got_there else []
    charged = charged_again(machine, condition)
    order = [o for o in order if o not in charged]
    shut = dict.fromkeys((*condition.closed, *charged))
    back = [c for c in shut if c in opened_now] if got_there else []
    steps = {t.id: t for t in machine.teardown}
    events: list[Event] = [
        *(ev.StepOpened(o, steps[o].words, steps[o].minutes) for o in order),
        *(ev.StepClosed(c) for c in back),
    ]
    if reading.is_evidence:
        planned = {o: steps[o].minutes for o in order}
        events += minutes_by_clock(job, {**planned, f"test {test.id}": test.minutes}, at)
    grade = said.grade if said and said.grade else test.grade
    events.append(
        ev.ReadingTaken(
            id, test.id, test.question, text, reading.to_dict(), test.condition,
            condition.circumstance, visit_of(at), grade, to_correct.id if to_correct else "",
        )
    )  # fmt: skip
    taken = Taken(id, len(job.readings) + 1, reading, None, tuple(order), tuple(back))
    return events, taken


def unread(reading: Reading) -> bool:
    """It could not be understood, and is no deliberate skip."""
    return not reading.is_evidence and reading.note not in PASSED_OVER


def visit_of(at: At) -> str:
    """One sitting: the calendar day in the shop's zone."""
    return at.now.date().isoformat()


def _as_if(before: Sequence[Envelope], events: Iterable[Event], at: At) -> list[Envelope]:
    """The events as the log would give them back, to look before writing."""
    last = before[-1]
    return [
        Envelope(
            last.seq + n, last.job, type(event).__name__, 1, at.device or "desk", n, last.seq,
            at.device_time or at.now, at.now, "", at.by, event,
        )
        for n, event in enumerate(events, start=1)
    ]  # fmt: skip


def _judgement(view: View, taken: Taken) -> ev.ReadingJudged:
    """What the person is shown about this reading, as plain data."""
    judged = taken.judged
    if judged is None:
        return ev.ReadingJudged(taken.id, "no evidence", taken.reading.note, shown_now(view, True))
    shown = shown_now(view, not judged.slip)
    shown.update(slip=judged.slip, reads=judged.reads, limits=judged.limits)
    shown.update(clears=list(judged.clears), good=find_test(view.machine, judged.test).good_reads)
    return ev.ReadingJudged(taken.id, judged.verdict, judged.sentence, shown)


def shown_now(view: View, fits: bool) -> dict[str, object]:
    """Belief per part, the next step and its price with bounds, as they stand on the screen."""
    assessment = view.assessment
    other = sum(s.belief for s in assessment.suspects if s.id == "other")
    shown: dict[str, object] = {
        "fits": fits and other < OTHER_DOUBT,
        "parts": {
            p.id: {"words": p.words, "belief": p.belief, "standing": p.standing}
            for p in assessment.parts
        },
        "other": other,
        "proven": assessment.proof.proven,
        "missing": assessment.proof.missing,
        "unsafe": [{"part": h.part, "why": h.why} for h in assessment.hazards],
        "price": {
            "expected": assessment.expected_price,
            "lower": assessment.lower,
            "upper": assessment.upper,
        },
    }
    step = view.next
    if step is not None:
        shown["next"] = {
            "id": step.id, "kind": step.kind, "words": step.words, "price": step.price,
            "lower": step.lower, "upper": step.upper, "minutes": step.minutes,
        }  # fmt: skip
    return shown


def withdraw(record: Record, job_id: str, reading_id: str, reason: str, at: At) -> View:
    """Take a reading back. It stays on the record with the reason, which may be said afterwards;
    the belief is worked out again without it."""
    reading = load_job(record, job_id).reading(reading_id)
    if reading is None:
        raise Refused(f"this job has no reading {reading_id!r}")
    if not reading.live and (reading.corrected_by or reading.reason not in NO_REASON):
        raise Refused(f"that reading was taken back already: {reading.reason}")
    if not reading.live and reason in NO_REASON:
        raise Refused("that reading was taken back already; withdraw N WHY says why")
    record.append(job_id, [ev.ReadingWithdrawn(reading_id, reason)], at)
    return look(record, job_id)


def reading_numbered(job: Job, number: int) -> str:
    """The id of reading number ``number`` (from 1, as listed). Raises Refused."""
    if not 1 <= number <= len(job.readings):
        have = f"1 to {len(job.readings)}" if job.readings else "none yet"
        raise Refused(f"there is no reading {number}; there is {have}")
    return job.readings[number - 1].id


def note_details(
    record: Record, job_id: str, at: At,
    serial: str = "", customer: str = "", model: str = "", maker: str = "",
) -> View:  # fmt: skip
    """What was not known at check-in, or was wrong; "" leaves what stands."""
    noted = ev.DetailsNoted(serial.strip(), customer.strip(), model.strip(), maker.strip())
    if noted != ev.DetailsNoted():
        record.append(job_id, [noted], at)
    return look(record, job_id)


def open_step(record: Record, job_id: str, step_id: str, at: At, where: str = "") -> View:
    """A teardown step was done, after those it needs; ``where`` the parts and screws went."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    step = find_step(machine, step_id)
    opened = frozenset(s.step for s in job.open_steps)
    if step.id in opened:
        raise Refused(f"{step.words}: that is open already")
    steps = {t.id: t for t in machine.teardown}
    order = taking_off(machine, [step.id], opened)
    events: list[Event] = [
        ev.StepOpened(o, steps[o].words, steps[o].minutes, where if o == step.id else "")
        for o in order
    ]
    events += minutes_by_clock(job, {o: steps[o].minutes for o in order}, at)
    record.append(job_id, events, at)
    return look(record, job_id)


def find_step(machine: Machine, id: str) -> TeardownStep:
    """A teardown step of the machine's file. Raises Refused naming the nearest."""
    from knowngood.machines.nearest import did_you_mean

    for step in machine.teardown:
        if id.strip().casefold() in (step.id.casefold(), step.words.casefold()):
            return step
    hint = did_you_mean(id, (t.id for t in machine.teardown))
    raise Refused(f"{machine.id} has no teardown step {id!r}. {hint}")


def note(record: Record, job_id: str, text: str, at: At) -> View:
    """A note in the person's own words."""
    if not text.strip():
        raise Refused("a note needs words: note rust on the blade bolt")
    record.append(job_id, [ev.NoteAdded(text.strip())], at)
    return look(record, job_id)


def picture(
    record: Record, job_id: str, data: bytes, name: str, at: At, caption: str = "", about: str = ""
) -> View:
    """Keep a picture, then refer to it. ``about``: a step, a reading, "plate", "damage"."""
    kept = record.files.keep_picture(data, name)
    record.append(job_id, [ev.PictureAdded(kept.digest, caption, about)], at)
    return look(record, job_id)


def change_meter(record: Record, job_id: str, meter: Known[MeterSheet], at: At) -> View:
    """From here on readings are taken with this meter."""
    digest = record.files.keep_text(meter.text)
    record.append(job_id, [ev.MeterChosen(meter.it.name, digest)], at)
    return look(record, job_id)
