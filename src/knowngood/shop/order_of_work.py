"""Which job next on one bench: weighted shortest processing time, promises first.

Smith's rule: jobs in falling order of weight / minutes give the least weighted sum of finishing
times on one bench (W. E. Smith, 1956, Naval Research Logistics Quarterly 3, 59-66).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Waiting:
    """A job that can go on now. `minutes`: expected to its end (from the planner), above 0.

    `waited`: days since it last moved. `promised`: the day the customer was told.
    """

    id: str
    words: str
    minutes: float
    waited: int = 0
    promised: date | None = None
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Next:
    job: Waiting
    finish: float
    """Minutes from now until it is done, when worked in this order."""
    why: str


def order_of_work(
    jobs: Sequence[Waiting], today: date, minutes_a_day: float = 360.0, a_day: float = 0.1
) -> tuple[Next, ...]:
    """Promises that would be broken come first, by their day; the rest by Smith's rule.

    Each day of waiting adds `a_day` to a job's weight. Raises ValueError for minutes of 0 or less.
    """
    for job in jobs:
        if not job.minutes > 0:
            raise ValueError(f"{job.words}: {job.minutes} minutes; give an expected time above 0")
    by_rule = sorted(jobs, key=lambda j: (-weight_of(j, a_day) / j.minutes, j.id))
    pressed: list[Waiting] = []
    while late := _late(pressed, by_rule, today, minutes_a_day):
        pressed.append(late)
        pressed.sort(key=lambda j: (j.promised or date.max, j.minutes, j.id))
    order = [*pressed, *(j for j in by_rule if j not in pressed)]
    out, clock = [], 0.0
    for n, job in enumerate(order):
        clock += job.minutes
        before, after = order[n - 1] if n else None, order[n + 1] if n + 1 < len(order) else None
        out.append(Next(job, clock, _why(job, before, after, job in pressed, today)))
    return tuple(out)


def weighted_finish(jobs: Sequence[Waiting], a_day: float = 0.1) -> float:
    """The sum of weight x finishing time of jobs in this order; minutes."""
    total = clock = 0.0
    for job in jobs:
        clock += job.minutes
        total += weight_of(job, a_day) * clock
    return total


def weight_of(job: Waiting, a_day: float) -> float:
    """A job's weight with its days of waiting."""
    return job.weight + a_day * job.waited


def _late(
    pressed: Sequence[Waiting], by_rule: Sequence[Waiting], today: date, minutes_a_day: float
) -> Waiting | None:
    """The first job that breaks its promise in this order and is not pressed yet."""
    clock = 0.0
    for job in [*pressed, *(j for j in by_rule if j not in pressed)]:
        clock += job.minutes
        if job.promised is None or job in pressed:
            continue
        days = max((job.promised - today).days + 1, 0)
        if clock > days * minutes_a_day:
            return job
    return None


def _why(
    job: Waiting, before: Waiting | None, after: Waiting | None, pressed: bool, today: date
) -> str:
    """Why it stands here, against the job after it in the order, the last against that before."""
    if pressed and job.promised is not None:
        if job.promised < today:
            return f"promised for {job.promised}, which has passed"
        return f"promised for {job.promised}; later in the day it would be late"
    said = f"waiting {job.waited} days: " if job.waited > 1 else ""
    if after is None and before is None:
        return f"{said}nothing else can go on now"
    if after is None and before is not None:
        return f"{said}{before.words.split('. ')[0]} is done sooner, or counts for more"
    assert after is not None
    other = after.words.split(". ")[0]  # without its caution
    if job.minutes < after.minutes:
        return f"{said}sooner done than {other}, which takes {after.minutes:.0f}"
    if job.waited > after.waited or job.weight > after.weight:
        return f"{said}it counts for more than {other}, which came to a stop later"
    return f"{said}as soon done as {other}, and its number comes first"
