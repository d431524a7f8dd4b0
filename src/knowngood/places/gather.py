"""One read of the record: the job, its machine, and what its evidence says."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.diagnosis.assess import Setup, assess
from knowngood.diagnosis.evidence import Acceptance, Evidence
from knowngood.diagnosis.views import Assessment, Judged, StepView
from knowngood.isolate.belief import Item
from knowngood.job.counter import PackTaken
from knowngood.job.job import Job, replay
from knowngood.job.shop_sheet import SHOP
from knowngood.job.things import JobReading
from knowngood.learn.closed import full_model
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import PASSED_OVER
from knowngood.places.library import pinned_machine, setup_for
from knowngood.places.points import setup_as_read
from knowngood.places.record import Record, Refused


@dataclass(frozen=True, slots=True)
class View:
    """What a screen of the bench needs: the job, what stays the same, what the evidence says."""

    job: Job
    setup: Setup
    evidence: Evidence
    assessment: Assessment

    @property
    def machine(self) -> Machine:
        return self.setup.machine

    @property
    def meter(self) -> MeterSheet | None:
        return self.setup.bench.meter

    @property
    def next(self) -> StepView | None:
        return self.assessment.next

    def judged(self, reading_id: str) -> Judged | None:
        """What was judged of the reading with this id, its repeats with it."""
        return next((j for j in self.assessment.readings if reading_id in j.items), None)

    def step(self, id: str) -> StepView | None:
        """The next step that is this test."""
        return next((s for s in self.assessment.steps if s.kind == "test" and s.id == id), None)

    def number_of(self, reading: JobReading) -> int:
        """The number by which a reading is withdrawn: its place on the job, from 1."""
        return 1 + next(i for i, r in enumerate(self.job.readings) if r.id == reading.id)


def load_job(record: Record, job_id: str) -> Job:
    """The job as it stands. Raises Refused when there is none."""
    events = record.log.events(job_id) if job_id != SHOP else []
    if not events:
        raise Refused(f"there is no job {job_id!r} in the record at {record.log.place}")
    return replay(events)


def evidence_of(machine: Machine, job: Job) -> Evidence:
    """What stands on the job, as the diagnosis reads it. A reading whose test this machine file
    does not have stays on the job as a note; one that could not be understood waits for its
    correction."""
    quantity = {t.id: t.quantity for t in machine.tests}
    parts = {p.id for p in machine.parts}
    told = {t.id for t in machine.told}
    visits = {v: i for i, v in enumerate(dict.fromkeys(r.visit for r in job.readings))}
    items = []
    for r in job.live_readings:
        reading = r.value()
        if quantity.get(r.test) != reading.quantity:
            continue
        if reading.is_evidence or reading.note in PASSED_OVER:
            items.append(Item(r.id, r.test, reading, visits[r.visit]))
    items = _looked_again(machine, items)
    called = [c.part for c in job.called if c.part in parts]
    return Evidence(
        items=tuple(items),
        told=tuple(t.id for t in job.told if t.id in told),
        accepted=tuple(Acceptance(a.part, a.by) for a in job.accepted if a.part in parts),
        called=called[-1] if called else None,
        opened=frozenset(s.step for s in job.open_steps),
        decided=job.decision is not None,
        unsafe=_unsafe(job), which=_which(job),
    )  # fmt: skip


def _looked_again(machine: Machine, items: list[Item]) -> list[Item]:
    """Without the answers to a look that a later one says otherwise: what was seen has been put
    right since (a new chain for the test), or was mistyped. They stay on the job. A hazard once
    seen is not looked away."""
    looks = {t.id for t in machine.tests if t.look and t.quantity == "yes_no" and not t.hazard}
    said = ("yes", "no")
    last = {i.test: i.reading.kind for i in items if i.test in looks and i.reading.kind in said}
    return [i for i in items if i.reading.kind not in said
            or last.get(i.test, i.reading.kind) == i.reading.kind]  # fmt: skip


def _unsafe(job: Job) -> tuple[str, ...]:
    """What the counter wrote of packs that must be left alone, where none is left to use."""
    if _which(job):
        return ()
    return tuple(dict.fromkeys(word for p in job.counter.unsafe_packs for word in p.trouble))


def _which(job: Job) -> str:
    """Of several packs the sound one to use, where another must be left alone; else ""."""
    sound = [p for p in job.counter.packs if not p.trouble]
    unsafe = job.counter.unsafe_packs
    if not sound or not unsafe:
        return ""
    alone = ", ".join(f"{_pack(p)} ({', '.join(p.trouble)})" for p in unsafe)
    return f"Use {' or '.join(map(_pack, sound))} only; {alone} stays outdoors, left alone."


def _pack(pack: PackTaken) -> str:
    """ "pack BP-1188", by its serial where it has one."""
    return f"pack {pack.serial or pack.words or 'without a serial'}"


def machine_file_of(record: Record, job: Job) -> Machine:
    """The job's machine file alone: no readings are worked out, as `setup_of` does, so it is there
    at once. Raises Refused, StoreProblem."""
    return pinned_machine(record.files.text_of(_machine_digest(job)))


def _machine_digest(job: Job) -> str:
    if not job.machine_digest:
        raise Refused(
            f"job {job.name} has no machine file yet: choose one on its counter sheet, "
            f"/job/{job.id}/sheet"
        )
    return job.machine_digest


def setup_of(record: Record, job: Job) -> Setup:
    """Machine, complaint, meter, prices and what the shop had learned, as the job pins them."""
    if job.opened is None:
        raise Refused(f"job {job.name} has no check-in in this record; import it whole")
    return setup_for(
        record, _machine_digest(job), job.opened.complaint, job.meter_digest,
        job.opened.prices_digest, job.learning.digest,
        full_model(job.opened.maker, job.opened.model) if job.learning.digest else "",
    )  # fmt: skip


def view_of(record: Record, job: Job) -> View:
    """The bench as this job leaves it. Raises Refused, StoreProblem."""
    setup = setup_as_read(setup_of(record, job), [r.test for r in job.readings])
    evidence = evidence_of(setup.machine, job)
    return View(job, setup, evidence, assess(setup, evidence, deadline=record.patience))


def look(record: Record, job_id: str) -> View:
    """Read the job and assess it; nothing is written. Raises Refused, StoreProblem."""
    return view_of(record, load_job(record, job_id))
