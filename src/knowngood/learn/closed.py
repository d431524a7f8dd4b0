"""A closed job as what it can teach, and why it teaches nothing when it does not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from knowngood.job.job import Job
from knowngood.job.things import Decision, JobReading
from knowngood.job.waiting import FITTED
from knowngood.measure.reading import Reading

REPAIRED = "repaired"


@dataclass(frozen=True, slots=True)
class OldReading:
    """A reading that stood when its job was closed. `after`: taken once the new part was in."""

    id: str
    test: str
    question: str
    reading: Reading
    day: str
    by: str
    after: bool
    seq: int
    celsius: float | None = None


@dataclass(frozen=True, slots=True)
class ClosedJob:
    """One closed job. `why_not`: in words why it proves nothing; "" when a part was proven, fitted
    in a machine that passed its release, and nothing rests on what has changed since.

    `bad`: the parts that were bad, the deciding one first. `out`: suspects, in words, that its
    readings showed out. `minutes`: (what, minutes by the clock) of tests ("test ID") and steps.
    """

    id: str
    name: str
    day: str
    machine: str
    maker: str
    model: str
    serial: str
    complaint: str
    bad: tuple[str, ...]
    out: frozenset[str]
    readings: tuple[OldReading, ...]
    minutes: tuple[tuple[str, float], ...]
    standing: Mapping[str, str] = field(default_factory=dict)
    why_not: str = ""
    seq: int = 0  # of the closing: jobs are taken in this order
    came_back: str = ""  # the job it came back as

    @property
    def proven(self) -> bool:
        return not self.why_not

    @property
    def full_model(self) -> str:
        """Maker and model as they are compared; "" when no model is known."""
        return full_model(self.maker, self.model)


def full_model(maker: str, model: str) -> str:
    """Maker and model as they are compared: small letters, one blank; "" without a model."""
    return " ".join(f"{maker} {model}".casefold().split()) if model.strip() else ""


def closed_job(job: Job, came_back: str = "") -> ClosedJob | None:
    """The job as what it teaches; None while it is open or has no check-in. `came_back`: the name
    of the later job as which the same machine came back, if it did."""
    if job.closed is None or job.opened is None:
        return None
    decision, opened = job.decision, job.opened
    fitted = _fitted(job, decision)
    unsteady = {r.test for r in job.live_readings if r.value().kind == "unsteady"}
    return ClosedJob(
        job.id, job.name, job.closed.at.device_time.date().isoformat(), opened.machine_id,
        opened.maker, opened.model, opened.serial, opened.complaint,
        _bad(decision), _shown_out(decision),
        tuple(
            _old(job, r, fitted) for r in job.live_readings
            if r.value().is_evidence and r.test not in unsteady
        ),
        _minutes(job),
        {id: s.standing for id, s in job.learning.standing.items()},
        _why_not(job, decision, fitted), job.closed.at.seq, came_back,
    )  # fmt: skip


def _why_not(job: Job, decision: Decision | None, fitted: int | None) -> str:
    assert job.closed is not None
    if job.closed.outcome.strip().casefold() != REPAIRED:
        return f"closed as {job.closed.outcome}"
    if decision is None:
        return "no part was decided on"
    if not decision.proven:
        return "decided without proof"
    if any(check.result == "fail" for check in job.release):
        return "a release check failed"
    if job.counter.overrides:
        return "it left with its hold overridden"
    if job.look_at_this:
        return f"{job.look_at_this[0].what}: {job.look_at_this[0].why}"
    if fitted is None and not job.release:
        return "nothing says that the part was fitted and the machine checked"
    return ""


def _fitted(job: Job, decision: Decision | None) -> int | None:
    """The seq at which the part was noted as fitted."""
    if decision is None:
        return None
    noted = [n.at.seq for n in job.notes
             if n.text.startswith(FITTED) and n.at.seq > decision.at.seq]  # fmt: skip
    return noted[0] if noted else None


def _old(job: Job, r: JobReading, fitted: int | None) -> OldReading:
    return OldReading(
        r.id, r.test, r.question, r.value(), r.taken.device_time.date().isoformat(), r.taken.by,
        fitted is not None and r.taken.seq > fitted, r.taken.seq,
        job.learning.celsius_at(r.taken.seq),
    )  # fmt: skip


def _bad(decision: Decision | None) -> tuple[str, ...]:
    if decision is None:
        return ()
    also = decision.proof.get("also")
    more = [a.get("part") for a in also if isinstance(a, Mapping)] if isinstance(also, list) else []
    return (decision.part, *(str(part) for part in more if part))


def _shown_out(decision: Decision | None) -> frozenset[str]:
    """Suspects, in words, that were shown out as the decision was shown."""
    shown = decision.proof.get("shown_out") if decision is not None else None
    if not isinstance(shown, list):
        return frozenset()
    return frozenset(str(s.get("suspect")) for s in shown if isinstance(s, Mapping))


def _minutes(job: Job) -> tuple[tuple[str, float], ...]:
    """What a clock measured; minutes put right by a person take their place."""
    mended = job.apart.mended
    found = [(m.what, m.minutes) for m in job.minutes if m.measured and m.what not in mended]
    found += [(what, one.minutes) for what, one in mended.items()]
    return tuple((what, minutes) for what, minutes in found if minutes > 0)
