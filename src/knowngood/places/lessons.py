"""What the shop's closed jobs teach about a machine file, and what a job pins of it.

Each closed job is replayed once and kept in memory until it changes. Of one machine file the latest
`MOST` count; thirty already outweigh the file.
"""

from __future__ import annotations

import threading
import weakref
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from knowngood.job.counter import ComebackLinked, ComebackWithdrawn
from knowngood.job.events import Event, JobOpened, MachineNamed
from knowngood.job.job import replay
from knowngood.job.learning import LessonsPinned
from knowngood.learn.closed import ClosedJob, closed_job
from knowngood.learn.lessons import Lessons, learn, to_text
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places.library import wired
from knowngood.places.record import Record
from knowngood.store.log import Log

MOST = 400
LATEST = 3000  # closed jobs of the shop that are looked at


@dataclass
class _Seen:
    """Jobs by (id, their last entry), so that one that has changed is read anew."""

    machine: dict[tuple[str, int], str] = field(default_factory=dict)
    closed: dict[tuple[str, int], ClosedJob | None] = field(default_factory=dict)
    upto: int = 0
    back: dict[str, tuple[str, str]] = field(default_factory=dict)  # later job -> (earlier, name)


_SEEN: weakref.WeakKeyDictionary[Log, _Seen] = weakref.WeakKeyDictionary()
_BUSY = threading.Lock()


def closed_jobs(record: Record, machine_id: str = "") -> tuple[ClosedJob, ...]:
    """The latest closed jobs of this machine file ("": of all), in the order they were closed."""
    with _BUSY:
        seen = _SEEN.setdefault(record.log, _Seen())
        rows = record.log.closed(LATEST)
        keys = [(row.job, row.last_seq) for row in rows]
        _learn_machines(record, seen, keys)
        wanted = [k for k in keys if not machine_id or seen.machine.get(k) == machine_id][:MOST]
        for key in wanted:
            if key not in seen.closed:
                seen.closed[key] = closed_job(replay(record.log.events(key[0])))
        current = set(keys)
        for table in (seen.machine, seen.closed):
            for key in [k for k in table if k not in current]:
                del table[key]
        back = _comebacks(record, seen)
        found = [job for key in wanted if (job := seen.closed[key]) is not None]
    found = [replace(job, came_back=back.get(job.id, "")) for job in found]
    return tuple(sorted(found, key=lambda job: job.seq))


def _learn_machines(record: Record, seen: _Seen, keys: Sequence[tuple[str, int]]) -> None:
    """The machine file of each job that was not looked at since it changed."""
    new = {job: seq for job, seq in keys if (job, seq) not in seen.machine}
    if not new:
        return
    for key in new.items():
        seen.machine[key] = ""
    for start in range(0, len(new), 500):
        jobs = list(new)[start : start + 500]
        for envelope in record.log.of_kinds(("JobOpened", "MachineNamed"), 0, jobs):
            if isinstance(envelope.event, JobOpened | MachineNamed):
                seen.machine[envelope.job, new[envelope.job]] = envelope.event.machine_id


def _comebacks(record: Record, seen: _Seen) -> dict[str, str]:
    """Name of the later job, by the job whose machine came back."""
    for envelope in record.log.of_kinds(("ComebackLinked", "ComebackWithdrawn"), seen.upto):
        seen.upto = max(seen.upto, envelope.seq)
        if isinstance(envelope.event, ComebackLinked):
            row = record.log.summary(envelope.job)
            name = row.name if row is not None else envelope.job[:8]
            seen.back[envelope.job] = (envelope.event.job, name)
        elif isinstance(envelope.event, ComebackWithdrawn):
            seen.back.pop(envelope.job, None)
    return dict(seen.back.values())


def lessons_of(
    record: Record, machine: Machine, meter: MeterSheet | None = None
) -> tuple[Lessons, Machine]:
    """What the closed jobs teach about this machine file, and the machine with its wiring worked
    out, of which the tests tell which readings count."""
    jobs = closed_jobs(record, machine.id)
    if not jobs:
        return Lessons(machine.id), machine
    whole = wired(machine, meter)
    return learn(whole, jobs), whole


def pin(record: Record, machine: Machine | None, meter: MeterSheet | None = None) -> list[Event]:
    """The event that pins what the shop has learned about this machine; none when that is nothing.
    The text is kept first. Raises StoreProblem."""
    if machine is None:
        return []
    found, _ = lessons_of(record, machine, meter)
    if found.empty:
        return []
    return [LessonsPinned(record.files.keep_text(to_text(found)), found.words)]
