"""Who takes which machine next, where several people work: the least weighted sum of finishing
times, exactly, with skills and promised days.

The work is cut into slots of some minutes. Each job is one unbroken piece of one person's time (a
time-indexed formulation: Sousa & Wolsey 1992, Mathematical Programming 54, 353-367, from memory),
solved by the HiGHS solver in scipy. Too large or out of time, the list rule stands in and says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

from knowngood.shop.order_of_work import Waiting, weight_of

MOST_CELLS: Final = 20_000  # jobs x people x slots; above it the list rule stands in
PATIENCE: Final = 2.0  # seconds for the solver
LATE: Final = 50.0  # weight of a minute past the promised day, in weights of a usual job
SLOTS: Final = 48  # into which the whole work is cut, about


@dataclass(frozen=True, slots=True)
class Person:
    """`skills`: what this person does; empty is everything. `minutes_a_day` at the bench."""

    name: str
    skills: frozenset[str] = frozenset()
    minutes_a_day: float = 360.0

    def can(self, needs: frozenset[str]) -> bool:
        return not self.skills or needs <= self.skills


@dataclass(frozen=True, slots=True)
class Turn:
    """`start` and `finish`: minutes of that person's bench time from now."""

    job: Waiting
    person: str
    start: float
    finish: float
    why: str


@dataclass(frozen=True, slots=True)
class Rota:
    """Turns by start. `left`: jobs that nobody here can do. `exact`: nothing better exists, with
    times counted in slots of `slot` minutes; else `reason` says why the list rule stands in."""

    turns: tuple[Turn, ...]
    left: tuple[Waiting, ...]
    exact: bool
    reason: str = ""
    slot: float = 0.0
    by_person: Mapping[str, tuple[Turn, ...]] = field(default_factory=dict)


def rota(
    jobs: Sequence[Waiting], people: Sequence[Person], today: date,
    needs: Mapping[str, frozenset[str]] | None = None, a_day: float = 0.1,
    patience: float = PATIENCE, most_cells: int = MOST_CELLS,
) -> Rota:  # fmt: skip
    """The order of work for these people. `needs`: skills by job id.

    Raises ValueError without people, or for minutes of 0 or less.
    """
    if not people:
        raise ValueError("nobody works here; name at least one person")
    if any(not person.minutes_a_day > 0 for person in people):
        raise ValueError("give minutes a day above 0 for each person")
    for job in jobs:
        if not job.minutes > 0:
            raise ValueError(f"{job.words}: {job.minutes} minutes; give an expected time above 0")
    wanted = needs or {}
    able = {j.id: [p for p in people if p.can(wanted.get(j.id, frozenset()))] for j in jobs}
    doable = [j for j in jobs if able[j.id]]
    left = tuple(j for j in jobs if not able[j.id])
    if not doable:
        return Rota((), left, True)
    slot = _slot(doable, len(people))
    length = {j.id: max(1, math.ceil(j.minutes / slot - 1e-9)) for j in doable}
    horizon = _horizon(doable, people, able, length)
    cells = sum(len(able[j.id]) for j in doable) * horizon
    if cells > most_cells:
        why = f"{len(doable)} machines for {len(people)} people are too many to solve exactly"
        return _listed(doable, people, able, left, today, a_day, why)
    placed = _solved(doable, people, able, length, horizon, slot, today, a_day, patience)
    if placed is None:
        why = f"no proven best order within {patience:g} s"
        return _listed(doable, people, able, left, today, a_day, why)
    return _made(placed, people, left, True, "", slot, today)


def cost_of(
    job: Waiting, finish: float, minutes_a_day: float, today: date, a_day: float = 0.1
) -> float:
    """Weight times finishing time, and `LATE` for each minute past the end of its promised day."""
    weight = weight_of(job, a_day)
    cost = weight * finish
    if job.promised is not None:
        due = max((job.promised - today).days + 1, 0) * minutes_a_day
        cost += LATE * max(finish - due, 0.0)
    return cost


def _slot(jobs: Sequence[Waiting], people: int) -> float:
    """Minutes of a slot: as many as cut the whole work into about `SLOTS`, at least one."""
    return max(1.0, math.ceil(sum(j.minutes for j in jobs) / max(people, 1) / SLOTS))


def _horizon(
    jobs: Sequence[Waiting], people: Sequence[Person], able: Mapping[str, list[Person]],
    length: Mapping[str, int],
) -> int:  # fmt: skip
    """Slots within which some best order ends: what the list rule needs, and the longest job."""
    ends = dict.fromkeys((p.name for p in people), 0)
    for job in sorted(jobs, key=lambda j: -length[j.id]):
        who = min(able[job.id], key=lambda p: ends[p.name])
        ends[who.name] += length[job.id]
    return max(ends.values()) + max(length.values())


def _solved(
    jobs: Sequence[Waiting], people: Sequence[Person], able: Mapping[str, list[Person]],
    length: Mapping[str, int], horizon: int, slot: float, today: date, a_day: float,
    patience: float,
) -> list[tuple[Waiting, Person, int]] | None:  # fmt: skip
    """(job, person, first slot) of a best order; None when it was not found in time."""
    columns = [
        (n, job, person, start)
        for n, job in enumerate(jobs)
        for person in able[job.id]
        for start in range(horizon - length[job.id] + 1)
    ]
    cost = np.array([
        cost_of(job, (start + length[job.id]) * slot, person.minutes_a_day, today, a_day)
        for _, job, person, start in columns
    ])  # fmt: skip
    row_of = {p.name: len(jobs) + i * horizon for i, p in enumerate(people)}
    matrix = lil_matrix((len(jobs) + len(people) * horizon, len(columns)))
    for at, (n, job, person, start) in enumerate(columns):
        matrix[n, at] = 1
        for t in range(start, start + length[job.id]):
            matrix[row_of[person.name] + t, at] = 1
    low = np.concatenate([np.ones(len(jobs)), np.zeros(len(people) * horizon)])
    found = milp(
        cost, integrality=np.ones(len(columns)), bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix.tocsr(), low, np.ones(len(low))),
        options={"time_limit": patience, "mip_rel_gap": 0.0},
    )  # fmt: skip
    if found.x is None or found.status != 0:
        return None
    return [(job, person, start) for at, (_, job, person, start) in enumerate(columns)
            if found.x[at] > 0.5]  # fmt: skip


def _listed(
    jobs: Sequence[Waiting], people: Sequence[Person], able: Mapping[str, list[Person]],
    left: tuple[Waiting, ...], today: date, a_day: float, reason: str,
) -> Rota:  # fmt: skip
    """Promises by day, then weight over minutes, each to whoever is free first."""

    def rank(job: Waiting) -> tuple[date, float, str]:
        return (job.promised or date.max, -weight_of(job, a_day) / job.minutes, job.id)

    ends = dict.fromkeys((p.name for p in people), 0.0)
    placed = []
    for job in sorted(jobs, key=rank):
        who = min(able[job.id], key=lambda p: (ends[p.name], p.name))
        placed.append((job, who, ends[who.name]))
        ends[who.name] += job.minutes
    return _made(placed, people, left, False, reason, 1.0, today)


def _made(
    placed: Sequence[tuple[Waiting, Person, float]], people: Sequence[Person],
    left: tuple[Waiting, ...], exact: bool, reason: str, slot: float, today: date,
) -> Rota:  # fmt: skip
    """Turns without the gaps that slots leave."""
    turns: dict[str, list[Turn]] = {p.name: [] for p in people}
    by_name = {p.name: p for p in people}
    in_turn = sorted(placed, key=lambda x: (x[2], x[0].id))
    queue = {p.name: [job for job, person, _ in in_turn if person == p] for p in people}
    for job, person, _ in in_turn:
        mine = turns[person.name]
        start = mine[-1].finish if mine else 0.0
        finish = start + job.minutes
        after = queue[person.name][len(mine) + 1:][:1]
        why = _why(job, by_name[person.name], finish, slot if exact else 0.0, today, after)
        mine.append(Turn(job, person.name, start, finish, why))
    flat = sorted((t for ts in turns.values() for t in ts), key=lambda t: (t.start, t.person))
    return Rota(tuple(flat), left, exact, reason, slot,
                {name: tuple(ts) for name, ts in turns.items()})  # fmt: skip


def _why(
    job: Waiting, person: Person, finish: float, slot: float, today: date,
    after: Sequence[Waiting],
) -> str:  # fmt: skip
    """`slot`: to how many minutes the order is the best there is; 0 for the list rule."""
    told = ""
    if job.promised is not None:
        due = max((job.promised - today).days + 1, 0) * person.minutes_a_day
        told = f"promised for {job.promised}, " + ("in time; " if finish <= due else "too late; ")
    for other in after:
        named = other.words.split(". ")[0]  # without its caution
        sooner = job.minutes < other.minutes
        told += f"before {named}, " + (f"which takes {other.minutes:.0f} min; " if sooner else
                                       "by its promise or its wait; ")  # fmt: skip
    rule = "no other share of the work ends sooner on the whole" if slot else "by the list rule"
    rule += f", to {slot:.0f} minutes" if slot > 1 else ""
    return f"{told}about {job.minutes:.0f} min with {person.name}: {rule}"
