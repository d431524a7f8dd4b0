"""A job on a machine file of a person's own: which file it was, and whether it was edited since.

The job keeps the text of the file by its digest and goes on with that, wherever the file lies now
and whatever it says; only a person takes the job over to the newer file.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from knowngood.job.events import MachineFileNoted
from knowngood.job.job import Job
from knowngood.job.things import JobReading
from knowngood.machines.shipped import shipped_names
from knowngood.machines.variant import WRITTEN_OUT, written_out
from knowngood.places.gather import View, load_job, look
from knowngood.places.library import MOST_BYTES, bases_beside, find_machine
from knowngood.places.own_machines import adopt
from knowngood.places.record import At, Record, Refused
from knowngood.places.text_file import text_of


@dataclass(frozen=True, slots=True)
class FileNow:
    """The file that a job's machine was read from. ``changed``: it, or the family it stands on, no
    longer says what the job took from it; ``trouble``: why it cannot be read, "" where it can."""

    path: str
    changed: bool = False
    trouble: str = ""

    @property
    def said(self) -> str:
        """What has become of it, "" where it is as it was; without what to do about it."""
        if self.trouble:
            return "it cannot be read there now; the job keeps what it said"
        return "edited since, and the job keeps what it said then" if self.changed else ""


@dataclass(frozen=True, slots=True)
class Newer:
    """A job that went over to its file as it is now. ``lost``: readings that counted and have no
    test in it; ``same``: the file says what the job had already."""

    view: View
    lost: tuple[JobReading, ...] = ()
    same: bool = False


def own_path(name: str) -> str:
    """The whole path of a machine as it was named; "" for a shipped one."""
    return "" if not name or name in shipped_names() else os.path.abspath(name)


def noted(path: str, text: str) -> MachineFileNoted:
    """That the machine of a job was read from this file, whose text (a variant written out) this
    is."""
    return MachineFileNoted(path, _says(text))


def file_now(job: Job) -> FileNow | None:
    """The job's file as it lies there now; None where the machine is a shipped one or one of the
    Library."""
    was = job.machine_file
    if was is None:
        return None
    try:
        text = text_of(was.path, MOST_BYTES, "machine file")
    except Refused as refused:
        return FileNow(was.path, trouble=str(refused))
    return FileNow(was.path, _says_whole(text, was.path, _stamps(was.path)) != was.digest)


def take_newer(record: Record, job_id: str, at: At, file: str = "") -> Newer:
    """The job goes over to its file as it is now, or to ``file``, which is where it lies from here
    on. What was read stays, and counts where the file has its test. Raises Refused with every
    problem; then the job stays as it was."""
    before = look(record, job_id)
    job, path = before.job, own_path(file) or _path_of(before.job)
    known = find_machine(path)
    opened = job.opened
    if opened is not None and opened.machine_id != known.it.id:
        raise Refused(f"{path} is of {known.it.id}, this job of {opened.machine_id}; name the file"
                      " of this job")  # fmt: skip
    decided = job.decision.part if job.decision else ""
    if decided and decided not in {p.id for p in known.it.parts}:
        raise Refused(f"{path} has no part {decided}, on which this job is decided; take the"
                      " decision back first (undo)")  # fmt: skip
    same = _says(known.text) == _says(record.files.text_of(job.machine_digest))
    note = noted(path, known.text)
    if same:
        record.append(job_id, [note] if note != job.machine_file else [], at)
    else:
        adopt(record, job_id, known, at, os.path.basename(path), (note,))
    view = look(record, job_id)
    return Newer(view, no_longer_read(before, view), same)


def no_longer_read(before: View, after: View) -> tuple[JobReading, ...]:
    """The readings that counted on the machine file before and have no test in the one after."""
    counted = {item.id for item in after.evidence.items}
    gone = {item.id for item in before.evidence.items} - counted
    return tuple(r for r in after.job.live_readings if r.id in gone)


def stay(record: Record, job_id: str, at: At) -> None:
    """The job stays with what it keeps of its file, and is not asked again until that is edited
    once more. Raises Refused."""
    path = _path_of(load_job(record, job_id))
    text = text_of(path, MOST_BYTES, "machine file")
    record.append(job_id, [noted(path, written_out(text, path, bases_beside(path)))], at)


def lost_words(lost: Sequence[JobReading], job: Job) -> str:
    """Readings that have no test in the file, each with its number; "" for none."""
    place = {r.id: n for n, r in enumerate(job.readings, start=1)}
    named = "; ".join(f"[{place[r.id]}] {r.question or r.test} {r.text}" for r in lost)
    return f"without a test in it, kept as notes that count for nothing: {named}" if named else ""


def _path_of(job: Job) -> str:
    if job.machine_file is None:
        raise Refused("this job's machine is none that was read from a file of yours; newer"
                      " FILE.yaml names one")  # fmt: skip
    return job.machine_file.path


@lru_cache(maxsize=32)
def _says_whole(text: str, path: str, beside: tuple[tuple[str, int, int], ...]) -> str:
    """`_says` of the file with its family; ``beside`` stands for the files that this may be."""
    return _says(written_out(text, path, bases_beside(path)))


def _stamps(path: str) -> tuple[tuple[str, int, int], ...]:
    """Name, time and size of each machine file beside this one: the phone asks with every entry,
    and writing a variant out takes a good part of a second."""
    with os.scandir(os.path.dirname(path)) as there:
        found = [(e.name, e.stat()) for e in there if e.name.endswith(".yaml")]
    return tuple(sorted((name, at.st_mtime_ns, at.st_size) for name, at in found))


def _says(text: str) -> str:
    """The digest of what a machine file says, whatever name it was read under."""
    first, _, rest = text.partition("\n")
    return hashlib.sha256((rest if first.startswith(WRITTEN_OUT) else text).encode()).hexdigest()
