"""Which machine a job is about and what comes closest to its complaint."""

from __future__ import annotations

from collections.abc import Iterable

from knowngood.job import events as ev
from knowngood.job.events import Event
from knowngood.job.learning import LessonsPinned
from knowngood.machines.bare import IDS as BARE
from knowngood.machines.machine import Machine
from knowngood.places.catalogue import machine_named
from knowngood.places.complaints import closest_of
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.lessons import pin
from knowngood.places.library import find_complaint
from knowngood.places.own_machines import own_file
from knowngood.places.record import At, Record, Refused


def listed_complaint(machine: Machine | None, named: Iterable[str], words: str) -> str:
    """The first of these that the file lists, else the one that shares words with the customer's;
    "" for neither."""
    if machine is None:
        return ""
    known = {c.id for c in machine.complaints}
    for id in named:
        if id in known:
            return id
    near = closest_of(machine.complaints, words, sharing=True)
    return near[0].id if near else ""


def name_complaint(record: Record, job_id: str, complaint: str, at: At) -> View:
    """Another complaint of the same machine file; what was read stays and counts under it."""
    job = load_job(record, job_id)
    if job.closed is not None:
        raise Refused(f"job {job.name} is closed; undo opens it again")
    machine = setup_of(record, job).machine
    found = find_complaint(machine, complaint)
    if job.opened is not None and job.opened.complaint == found.id:
        raise Refused(f"that is its complaint: {found.words}")
    named: list[Event] = [ev.MachineNamed(machine.id, job.machine_digest, found.id)]
    if job.machine_file is not None:
        named.append(job.machine_file)  # it is still the file that it was read from
    record.append(job_id, named, at)
    return look(record, job_id)


def name_machine(record: Record, job_id: str, machine: str, complaint: str, at: At) -> None:
    """Which machine file it is and what comes closest to the complaint, said after check-in."""
    job = load_job(record, job_id)
    known = machine_named(record, machine)
    if known is None:
        raise Refused(f"there is no machine {machine!r} in the library")
    own, now = own_file(record, machine), job.opened.machine_id if job.opened else ""
    same = now in (known.it.id, own.base if own else "", *BARE)  # the last say nothing of faults
    if job.live_readings and not same:
        raise Refused("readings were taken already; take them back before another machine is named")
    words = job.opened.customer_words if job.opened else ""
    chosen = listed_complaint(known.it, [complaint], words)
    digest = record.files.keep_text(known.text)
    named: list[Event] = [ev.MachineNamed(known.it.id, digest, chosen)]
    if job.learning.digest:
        named.append(LessonsPinned(""))  # of another machine file
    record.append(job_id, [*named, *pin(record, known.it)], at)
