"""How long things take here: the median of what a clock measured, drawn to the file's minutes.

The file's minutes count as `WORTH` measurements. The median, and not the mean, so that one long
telephone call does not make a test dear (50 % breakdown point; Huber, Robust Statistics, 1.4, from
memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median
from typing import Final

from knowngood.learn.closed import ClosedJob
from knowngood.machines.machine import Machine

WORTH: Final = 4.0
MOST: Final = 40


@dataclass(frozen=True, slots=True)
class Timed:
    """Minutes of a test ("test ID") or a teardown step (its id): as the file has them, the median
    of `n` measured ones, and what is reckoned with."""

    what: str
    file: float
    measured: float
    n: int
    minutes: float


def measured(machine: Machine, jobs: Iterable[ClosedJob]) -> tuple[tuple[str, int, float], ...]:
    """(what, how many, their median) of all of this machine file that a clock has measured; of more
    than `MOST` the latest."""
    file = _minutes_of(machine)
    seen: dict[str, list[float]] = {}
    for job in jobs:
        if job.machine == machine.id:
            for what, minutes in job.minutes:
                if what in file:
                    seen.setdefault(what, []).append(minutes)
    return tuple(
        (what, len(each[-MOST:]), float(median(each[-MOST:])))
        for what, each in sorted(seen.items())
    )


def drawn(machine: Machine, known: Iterable[tuple[str, int, float]]) -> tuple[Timed, ...]:
    """What to reckon with: (4 x file + n x median) / (4 + n)."""
    file = _minutes_of(machine)
    return tuple(
        Timed(what, file[what], middle, n,
              round((WORTH * file[what] + n * middle) / (WORTH + n), 2))
        for what, n, middle in known
        if what in file
    )  # fmt: skip


def _minutes_of(machine: Machine) -> dict[str, float]:
    return {f"test {t.id}": t.minutes for t in machine.tests} | {
        t.id: t.minutes for t in machine.teardown
    }
