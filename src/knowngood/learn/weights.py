"""How often each fault is the one: the file's weights, corrected by the shop's own closed jobs.

The file's weights count as `WORTH` jobs (a Dirichlet prior); each closed job with a proven part
adds one, shared among the faults of that part by what the file and the complaint make of them,
those left out that its readings showed out. So after `WORTH` jobs half of a weight is the shop's
own. Source of the rule: conjugate Dirichlet and multinomial, Gelman et al., Bayesian Data Analysis,
3.4 (from memory); the share within a part is one step of expectation and maximisation.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from knowngood.learn.closed import ClosedJob
from knowngood.machines.machine import Complaint, Fault, Machine

WORTH: Final = 20.0


@dataclass(frozen=True, slots=True)
class Counted:
    """`jobs`: closed jobs with a proven part; `by_part`, `by_fault`: how many fell on each (faults
    in fractions); `share`: how much of the weights is the shop's own, 0 to 1."""

    jobs: int
    by_part: Mapping[str, int]
    by_fault: Mapping[str, float]

    @property
    def share(self) -> float:
        return self.jobs / (self.jobs + WORTH)


def count_faults(machine: Machine, jobs: Iterable[ClosedJob]) -> Counted:
    """What the closed and proven jobs of this machine file were."""
    given = {c.id: c for c in machine.complaints}
    by_part: dict[str, int] = {}
    by_fault: dict[str, float] = {}
    count = 0
    for job in jobs:
        if job.machine != machine.id or not job.proven or job.came_back or not job.bad:
            continue
        part = job.bad[0]
        faults = [f for f in machine.faults if part in f.parts and f.weight > 0]
        standing = [f for f in faults if f.words not in job.out] or faults
        if not standing:
            continue
        complaint = given.get(job.complaint)
        likely = {f.id: _likely(f, complaint) for f in standing}
        whole = sum(likely.values())
        count += 1
        by_part[part] = by_part.get(part, 0) + 1
        for fault, weight in likely.items():
            share = weight / whole if whole > 0 else 1 / len(standing)
            by_fault[fault] = by_fault.get(fault, 0.0) + share
    return Counted(count, dict(sorted(by_part.items())), dict(sorted(by_fault.items())))


def _likely(fault: Fault, complaint: Complaint | None) -> float:
    if complaint is None:
        return fault.weight
    return fault.weight * complaint.given.get(fault.id, complaint.others)


def learned_weights(machine: Machine, counted: Counted) -> dict[str, float]:
    """Weight of every fault, by id; their sum stays what the file's is."""
    total = sum(f.weight for f in machine.faults)
    if total <= 0 or counted.jobs == 0:
        return {f.id: f.weight for f in machine.faults}
    known = {f.id: counted.by_fault.get(f.id, 0.0) for f in machine.faults}
    jobs = sum(known.values())
    return {
        f.id: total * (WORTH * f.weight / total + known[f.id]) / (WORTH + jobs)
        for f in machine.faults
    }

