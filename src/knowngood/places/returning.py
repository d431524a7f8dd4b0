"""What a person needs who comes back to a machine after days among other machines, on one screen.

What it came in for, what was proven, what was taken off and where it lies, the last three steps,
and what is next. (FAA human factors guidance, cited second-hand: after an interruption go back
three steps.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from knowngood.job.events import Envelope, MinutesNoted, ReadingJudged
from knowngood.job.job import Job, replay
from knowngood.job.shelf import Order
from knowngood.job.words import in_words, next_in_words
from knowngood.places.days import day_of, day_words
from knowngood.places.record import Record, Refused
from knowngood.places.shelf import Line, line_of, places_used, quiet_steps

STEPS_BACK = 3
_SILENT = (ReadingJudged, MinutesNoted)


@dataclass(frozen=True, slots=True)
class Off:
    """Something that is off, and where it lies ("" when nobody said)."""

    step: str
    words: str
    where: str
    pictures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Said:
    """One of the last steps: what, who, when in words."""

    words: str
    by: str
    when: str


@dataclass(frozen=True, slots=True)
class Returning:
    """A job as it is picked up again. `seq` is what a phone names as `based_on`."""

    line: Line
    job: Job
    seq: int
    came_for: str
    proven: str
    off: tuple[Off, ...]
    last: tuple[Said, ...]
    next: str
    on_order: tuple[Order, ...]
    here: tuple[Order, ...]
    places: tuple[str, ...]


def returning(record: Record, job_id: str, now: datetime) -> Returning:
    """The job as it is picked up again. Raises Refused, StoreProblem."""
    events = record.log.events(job_id)
    summary = record.log.summary(job_id)
    if not events or summary is None:
        raise Refused(f"there is no job {job_id!r} in the record at {record.log.place}")
    job, line = replay(events), line_of(record, summary, now)
    opened = job.opened
    return Returning(
        line, job, job.last_seq,
        (opened.customer_words or opened.complaint) if opened else "not in this record",
        _proven(job), tuple(_off(job, quiet_steps(record, summary.machine_digest))),
        tuple(_last(events, now.date(), now.tzinfo)),
        line.next or next_in_words(job), job.shelf.on_order, job.shelf.here,
        tuple(p for p in places_used(record) if p != line.place),
    )  # fmt: skip


def _proven(job: Job) -> str:
    decision = job.decision
    if decision is None:
        if job.called:
            last = job.called[-1]
            return f"Nothing yet; {last.words or last.part} called by {last.by or 'somebody'}."
        return "Nothing yet."
    number = f", number {decision.number}" if decision.number else ""
    words = f"{decision.words or decision.part}{number}. {decision.sentence}".strip()
    return words if decision.proven else f"Nothing; decided without proof: {words}"


def _off(job: Job, quiet: frozenset[str]) -> list[Off]:
    """The latest first: that is the first to go back. ``quiet``: steps that leave nothing off."""
    found = []
    for step in reversed([one for one in job.open_steps if one.step not in quiet]):
        noted = job.apart.noted.get(step.step)
        where = (noted.where if noted else "") or step.where
        pictures = tuple(p.digest for p in job.pictures if p.about == step.step)
        found.append(Off(step.step, step.words or step.step, where, pictures[:3]))
    return found


def _last(events: Sequence[Envelope], today: date, zone: tzinfo | None) -> list[Said]:
    told = [one for one in events if not isinstance(one.event, _SILENT)]
    found = []
    for one in told[-STEPS_BACK:]:
        day = day_of(one.device_time.isoformat(), zone)
        at = one.device_time.astimezone(zone) if zone else one.device_time
        when = f"{day_words(day, today)} {at:%H:%M}" if day else ""
        found.append(Said(in_words(one.event), one.by or "somebody", when))
    return found
