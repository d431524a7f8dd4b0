"""One test read several times in a visit: what the readings say together.

Readings that agree are one value read so often (a *run*, its mean); of several runs at most one
shows the machine, the others are slips. A slip lasts (the wrong point, the wrong part: the same
wrong value each time) or goes with the next touch (no contact, a wrong prefix). With ``n``
readings in a run, ``m`` its mass under a suspect, ``a`` what a slip shows and ``g`` the chance that
a further reading of one value agrees so closely:

    true run   (1 - s) * m * k                      k = ((1 - c) * g)^(n-1)
    slipped    l * a * k + (1 - l) * (c * a)^n      l = LASTING * s, (1 - l) * (1 - c) = 1 - s

A fault that comes and goes may jump at one reading and stand still at the next: for it the run
"jumps" and one other may both show the machine.

A single reading weighs ``(1 - s) * m + s * a`` as ever; two that agree weigh a little more than
one, and one that disagrees takes back what the first one said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.likelihood import anything
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

LASTING = 0.2  # share of slips that the same test repeats; common practice
AGREE = 4.0  # readings of one test within so many random standard uncertainties are one value
TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Run:
    """Readings of one test that agree. ``members``: their places among all; ``reading``: their
    mean; ``close``: the chance that a further reading of the same value agrees so closely."""

    members: tuple[int, ...]
    reading: Reading
    close: float


@dataclass(frozen=True, slots=True)
class Together:
    """``log`` (..., ): log-likelihood of all readings; ``shares`` (runs, ...): probability that
    this run shows the machine, the rest being slips; ``jumps`` (..., ): that the run "jumps" does
    so beside another, which bears the share of both."""

    log: Array
    shares: Array
    jumps: Array


def runs_of(readings: Sequence[Reading]) -> tuple[Run, ...]:
    """Readings that agree, together; the order of the readings plays no role."""
    values = [i for i, r in enumerate(readings) if r.kind == "value"]
    groups: list[list[int]] = []
    for i in sorted(values, key=lambda i: readings[i].value):
        if groups and _agree(readings[groups[-1][0]], readings[i]):
            groups[-1].append(i)
        else:
            groups.append([i])
    found = [_mean(readings, g) for g in groups]
    others: dict[tuple[str, float | None, float | None], list[int]] = {}
    for i, r in enumerate(readings):
        if r.kind == "value":
            continue
        home = next((k for k, run in enumerate(found) if _holds(r, run.reading)), None)
        if home is None:
            key = (r.kind, None, None) if r.kind == "unsteady" else (r.kind, r.low, r.high)
            others.setdefault(key, []).append(i)
        else:  # "about 55" says nothing that 54.8 V does not
            found[home] = replace(found[home], members=(*found[home].members, i))
    return (*found, *(Run(tuple(m), readings[m[0]], 1.0) for m in others.values()))


def together(
    slip: float, runs: Sequence[Run], masses: Sequence[Array], moving: Array | None = None
) -> Together:
    """The readings of all runs under each suspect; ``masses``: of each run's mean, no slip.

    ``slip`` is the chance that one reading of this test is a slip (0: never); ``moving``: 1 where
    the suspect comes and goes and may jump at one reading only.
    """
    lasting = LASTING * slip
    passing = (slip - lasting) / (1.0 - lasting)
    true, wrong = [], []
    for run, m in zip(runs, masses, strict=True):
        n, a = len(run.members), anything(run.reading)
        again = ((1.0 - passing) * run.close) ** (n - 1)
        true.append((1.0 - slip) * again * m)
        wrong.append(max(lasting * a * again + (1.0 - lasting) * (passing * a) ** n, TINY))
    every = float(np.prod(wrong))
    ways = np.array([t * (every / w) for t, w in zip(true, wrong, strict=True)])
    jumps, beside = jumping(runs), np.zeros(ways.shape[1:])
    if jumps is not None and moving is not None:
        both = moving * true[jumps] / wrong[jumps] * ways
        both[jumps] = 0.0
        ways, beside = ways + both, both.sum(axis=0)
    whole = np.maximum(ways.sum(axis=0) + (every if slip > 0 else 0.0), TINY)
    return Together(np.log(whole), ways / whole, beside / whole)


def jumping(runs: Sequence[Run]) -> int | None:
    """The place of the run that says "jumps", if one does."""
    return next((k for k, run in enumerate(runs) if run.reading.kind == "unsteady"), None)


def _holds(r: Reading, value: Reading) -> bool:
    return (
        r.kind == "interval" and r.low is not None and r.high is not None
        and r.low <= value.value <= r.high
    )  # fmt: skip


def _agree(a: Reading, b: Reading) -> bool:
    apart = abs(a.value - b.value)
    near = apart <= AGREE * (a.u_random + b.u_random) + a.resolution + b.resolution
    return near and a.meter == b.meter


def _mean(readings: Sequence[Reading], members: Sequence[int]) -> Run:
    if len(members) == 1:
        return Run(tuple(members), readings[members[0]], 1.0)
    mine = [readings[i] for i in members]
    u_random, step = fmean(r.u_random for r in mine), min(r.resolution for r in mine)
    middle = fmean(r.value for r in mine)
    mean = replace(
        mine[0], low=middle, high=middle, u_random=u_random / len(mine) ** 0.5,
        u_shared=fmean(r.u_shared for r in mine), resolution=step, text=f"mean of {len(mine)}",
    )  # fmt: skip
    spread = max(u_random, 0.3 * step, 1e-12)  # what rounds to one count agrees on it
    return Run(tuple(members), mean, min(1.0, max(step, 1e-12) / (3.5 * spread)))
