"""A job without a machine file goes on all the same: taken apart, put together, handed back."""

from __future__ import annotations

from functools import lru_cache

from knowngood.job import events as ev
from knowngood.machines.bare import Kind, load_bare
from knowngood.machines.machine import Machine
from knowngood.places.gather import View, load_job, look
from knowngood.places.library import Known, sound_machine
from knowngood.places.record import At, Record, Refused


@lru_cache(maxsize=2)
def bare_machine(kind: Kind) -> Known[Machine]:
    """What any machine of this kind is: its source of energy and its release checks."""
    return sound_machine(load_bare(kind), f"any machine with {kind}", lambda name: None)


def without_file(record: Record, job_id: str, kind: Kind, at: At) -> View:
    """The job goes on with what suits any machine of its kind; a file may be named later."""
    job = load_job(record, job_id)
    if job.machine_digest:
        raise Refused(f"job {job.name} has a machine file; it is on the Bench")
    known = bare_machine(kind)
    digest = record.files.keep_text(known.text)
    complaint = known.it.complaints[0].id
    record.append(job_id, [ev.MachineNamed(known.it.id, digest, complaint)], at)
    return look(record, job_id)
