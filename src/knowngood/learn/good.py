"""Which readings of closed jobs were taken on something that was good.

Two ways. After the repair, on a machine that passed its release: every test. Before it, on a test
that reads alike whatever was wrong with the part that was bad: it looked at something else, and the
job closed with that other part proven. What a reading *says* plays no role, so that good readings
are not picked by being near what was expected.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from knowngood.learn.closed import ClosedJob, OldReading
from knowngood.machines.machine import Fault, Machine, Test
from knowngood.measure.reading import Reading


@dataclass(frozen=True, slots=True)
class GoodReading:
    """One known-good reading of one machine. `model` as compared, "" unknown; `standing`: what was
    answered when it was asked about, "" when it never was."""

    job: str
    job_name: str
    id: str
    test: str
    model: str
    reading: Reading
    day: str
    by: str
    after: bool
    celsius: float | None = None
    standing: str = ""

    @property
    def value(self) -> float:
        return self.reading.value


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A closed job whose readings are not counted, and why."""

    job: str
    job_name: str
    why: str


def good_readings(
    machine: Machine, jobs: Sequence[ClosedJob]
) -> tuple[tuple[GoodReading, ...], tuple[LeftOut, ...]]:
    """Known-good readings of this machine's tests, one a machine and test, by day; and the jobs
    that were left out. `jobs` in the order they were closed; those of other machine files are
    passed over."""
    found: dict[tuple[str, str], GoodReading] = {}
    left = []
    tests = {t.id: t for t in machine.tests}
    for job in jobs:
        if job.machine != machine.id:
            continue
        why = job.why_not or doubt(machine, job)
        if why:
            left.append(LeftOut(job.id, job.name, why))
            continue
        seen = _moved_by(machine, job.bad)
        for old in sorted(job.readings, key=lambda r: (r.after, r.seq)):
            test = tests.get(old.test)
            if test is not None and _counts(test, old, seen):
                # The latest of one machine: those before it are of the same, and tell little more.
                found[_machine_of(job), old.test] = _good(job, old)
    order = sorted(found.values(), key=lambda g: (g.test, g.day, g.job, g.id))
    return tuple(order), tuple(left)


def doubt(machine: Machine, job: ClosedJob) -> str:
    """Why the readings of a proven job are in doubt after all; "" when they are not."""
    if job.came_back:
        return f"it came back as {job.came_back}"
    faults = _faults_of(machine, job.bad)
    if not faults:
        return f"this machine file does not have the part {job.bad[0] if job.bad else ''}".strip()
    standing = [f for f in faults if f.words not in job.out]
    if standing and all(f.shows is not None for f in standing):
        return "what was wrong comes and goes"
    return ""


def _faults_of(machine: Machine, parts: Iterable[str]) -> list[Fault]:
    wanted = set(parts)
    return [f for f in machine.faults if wanted & set(f.parts)]


def _moved_by(machine: Machine, parts: Iterable[str]) -> frozenset[str]:
    """Tests that read other than good under some fault of these parts, or what it left behind."""
    marks = {m for f in _faults_of(machine, parts) for m in (f.id, *(s.fault for s in f.leaves))}
    return frozenset(
        t.id for t in machine.tests
        if any(m in t.expect and t.expect[m] != t.good for m in marks)
    )  # fmt: skip


def _counts(test: Test, old: OldReading, moved: frozenset[str]) -> bool:
    if old.reading.kind != "value" or old.reading.quantity != test.quantity:
        return False
    return old.after or test.id not in moved


def _machine_of(job: ClosedJob) -> str:
    serial = "".join(sign for sign in job.serial.casefold() if sign.isalnum())
    return f"{job.full_model} {serial}" if serial else job.id


def _good(job: ClosedJob, old: OldReading) -> GoodReading:
    return GoodReading(
        job.id, job.name, old.id, old.test, job.full_model, old.reading, old.day, old.by,
        old.after, old.celsius, job.standing.get(old.id, ""),
    )  # fmt: skip


def by_test(readings: Iterable[GoodReading]) -> Mapping[str, tuple[GoodReading, ...]]:
    """The readings of each test, in their order."""
    found: dict[str, list[GoodReading]] = {}
    for reading in readings:
        found.setdefault(reading.test, []).append(reading)
    return {test: tuple(each) for test, each in found.items()}
