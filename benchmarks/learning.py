"""A shop that learns: what its own known-good readings and counts bring, job after job.

The machine and its file are invented for this: a family file that leaves room for every model, so
that a part which is only a little off lies inside what it expects of a good one. In the shop all
machines are of one model, whose good readings lie elsewhere in that room and close together, and
one part fails more often than the file says. Jobs are played from complaint to stop by the planner,
each with what those before it have taught, with noisy readings, slips and a meter that is off by
its own error on each; once the new part is in, the four quick readings are taken again. After each
job closed with the right part, proven, the readings taken on what was good are kept, as the program
keeps them. A wrong part comes back, and its readings do not count.

After 0, 3, 10 and 30 such jobs the same fresh jobs are judged, in each of several shops. `verdicts
right`: quick readings of good and bad parts called good and bad; the rest are `wrong` or too close
to tell. `price to proof`: tests and what they open, in money, with a comeback and the claim for a
wrong part and the risk of a denied claim where proof is missing. `in the 95 %`: how many good
machines of this shop read inside the interval that is predicted for them (calibrated is 95 % or
more). The last rows show readings and counts alone.

    python -m benchmarks.learning [JOBS]

judges by that many fresh jobs a shop.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import fmean
from typing import Any

import numpy as np
from scipy.special import ndtr

from benchmarks.__main__ import LOOKED
from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.prices import Prices
from knowngood.isolate.table import Table
from knowngood.learn.applied import with_lessons
from knowngood.learn.closed import ClosedJob, OldReading
from knowngood.learn.lessons import NOTHING, Lessons, learn
from knowngood.learn.limits import expected_interval, lessons_of
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from knowngood.measure.meter import load_shipped_meter
from tests.play import Played, play_planned
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")
STAGES = (0, 3, 10, 30)
SHOPS, JOBS, EXPANSIONS = 4, 30, 40
COMMAND = "python -m benchmarks learning"
# Of this shop's model: (mean, standard deviation) of good machines, span of the failed part.
TRUE: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "winding_ohms": ((4.62, 0.05), (3.0, 4.2)),
    "coil_ohms": ((152.0, 1.5), (110.0, 142.0)),
    "sensor_volts": ((5.62, 0.03), (4.2, 5.4)),
    "harness_ohms": ((1.9, 0.04), (2.4, 3.6)),
}
SHARES = {"winding_tired": 50.0, "coil_tired": 15.0, "sensor_tired": 20.0, "harness_worn": 15.0}
FILE = Path(__file__).with_suffix(".yaml")


def the_file() -> Machine:
    machine, problems = parse_machine(FILE.read_text(encoding="utf-8"), FILE.name)
    if machine is None:
        raise AssertionError([str(p) for p in problems])
    return machine


def as_it_is(machine: Machine) -> Machine:
    """The machine as this shop's really are."""
    tests = []
    for test in machine.tests:
        if test.id in TRUE:
            (mean, sd), (low, high) = TRUE[test.id]
            good = Forecast((Piece("around", mean, sd),))
            bad = Forecast((Piece("between", low, high),))
            test = replace(test, good=good, expect=dict.fromkeys(test.expect, bad))
        tests.append(test)
    faults = tuple(replace(f, weight=SHARES[f.id]) for f in machine.faults)
    return replace(machine, tests=tuple(tests), faults=faults)


def world(table: Table, seed: Sequence[int]) -> World:
    """A fresh job: which part it is, how far the meter is off, what it reads."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(table, rng, lambda h: float(h.kind == "primary"))
    return World(table, METER, rng, truth)


@dataclass(frozen=True)
class Stage:
    """What was known, and how the fresh jobs went with it."""

    words: str
    played: tuple[Played, ...]
    right: float
    wrong: float
    inside: float
    readings: float


def closed(number: int, job: World, played: Played) -> ClosedJob:
    """A played job as the record would have it, with what was read again when it was mended."""
    h = job.table.hypotheses[job.truth]
    fine = next(i for i, h in enumerate(job.table.hypotheses) if h.kind == "no fault")
    mended = World(job.table, METER, job.rng, fine)
    mended.gain = job.gain
    before = [i for i in job._read.values() if i.test in played.tests]
    after = [mended.read(t) for t in TRUE]
    readings = tuple(
        OldReading(f"r{number}.{n}", i.test, i.test, i.reading, "2026-01-01", "",
                   n >= len(before), n)
        for n, i in enumerate([*before, *after])
    )  # fmt: skip
    why = "" if played.proven else "decided without proof"
    return ClosedJob(
        f"job{number:04d}", f"{number}", "2026-01-01", "one-model-mower", "Brackwater", "BW-2",
        f"S{number}", "weak", tuple(sorted(played.named)), frozenset(), readings, (), {}, why,
        number, "" if played.named == h.parts else "a later job",
    )  # fmt: skip


def lived(machine: Machine, true: Table, proven: int, shop: int) -> list[ClosedJob]:
    """Jobs of a shop until so many were closed with the right part, proven; each is judged with
    what those before it have taught."""
    past: list[ClosedJob] = []
    while sum(map(teaches, past)) < proven:
        setup = setup_with(machine, learn(machine, past))
        job = world(true, [shop, 7, len(past)])
        played = play_planned(setup, job, expansions=EXPANSIONS)
        past.append(closed(len(past) + 1, job, played))
    return past


def teaches(job: ClosedJob) -> bool:
    return job.proven and not job.came_back


def first(past: Sequence[ClosedJob], proven: int) -> list[ClosedJob]:
    """The jobs up to the so many-th that taught something."""
    found: list[ClosedJob] = []
    for job in past:
        if sum(map(teaches, found)) == proven:
            break
        found.append(job)
    return found


def setup_with(machine: Machine, lessons: Lessons) -> Setup:
    return set_up(with_lessons(machine, lessons, "brackwater bw-2"), "weak", METER, Prices())


def judged(machine: Machine, true: Table, each: Sequence[Lessons], words: str, jobs: int) -> Stage:
    """The same fresh jobs with the lessons of each shop."""
    played, right, wrong, seen = [], 0, 0, 0
    for shop, lessons in enumerate(each):
        setup = setup_with(machine, lessons)
        for number in range(jobs):
            job = world(true, [shop, number, 13])
            played.append(play_planned(setup, job, expansions=EXPANSIONS))
            job = world(true, [shop, number, 17])
            items = tuple(job.read(test) for test in TRUE)
            good = {t: true.rows[t].index[job.truth] == true.rows[t].good for t in TRUE}
            for item, verdict in verdicts(setup, items):
                seen += 1
                right += verdict == ("good" if good[item] else "bad")
                wrong += verdict == ("bad" if good[item] else "good")
    return Stage(words, tuple(played), right / seen, wrong / seen,
                 fmean(inside(machine, lessons) for lessons in each),
                 fmean(len(lessons.readings) / len(TRUE) for lessons in each))  # fmt: skip


def verdicts(setup: Setup, items: tuple[Item, ...]) -> list[tuple[str, str]]:
    """(test, verdict) of each reading alone."""
    found: list[tuple[str, str]] = []
    for item in items:
        view = assess(setup, Evidence((item,)), deadline=None, max_expansions=0)
        found.append((item.test, view.readings[0].verdict))
    return found


def inside(machine: Machine, lessons: Lessons) -> float:
    """Share of this shop's good machines inside the 95 % that is predicted, mean of the tests."""
    known = lessons_of(machine, lessons.readings, "brackwater bw-2")
    shares = []
    for test in machine.tests:
        if test.id not in TRUE:
            continue
        (mean, sd), _ = TRUE[test.id]
        one = known.get(test.id)
        ahead = one.next if one is not None else None
        low, high = ahead.interval(0.95) if ahead is not None else expected_interval(test.good)
        shares.append(float(ndtr((high - mean) / sd) - ndtr((low - mean) / sd)))
    return fmean(shares)


def row(stage: Stage) -> dict[str, Any]:
    played = stage.played
    proven = [p for p in played if p.proven]
    return {
        "after": stage.words,
        "known-good readings a test": f"{stage.readings:.1f}",
        "verdicts right": f"{stage.right:.0%}",
        "wrong": f"{stage.wrong:.1%}",
        "right part": f"{fmean(p.right for p in played):.1%}",
        "proven": f"{len(proven) / len(played):.0%}",
        "right of proven": f"{fmean(p.right for p in proven):.1%}" if proven else "-",
        "price to proof": f"{fmean(p.price for p in played):.1f}",
        "tests": f"{fmean(len(p.tests) for p in played):.1f}",
        "in the 95 %": f"{stage.inside:.1%}",
    }


def stages(
    jobs: int = JOBS, counts: Sequence[int] = STAGES, shops: int = SHOPS,
    tell: Callable[[Stage], None] = lambda stage: None,
) -> list[Stage]:  # fmt: skip
    """``jobs``: fresh ones a shop."""
    machine = the_file()
    true = set_up(as_it_is(machine), "weak", METER, Prices()).bench.table
    past = [lived(machine, true, max(counts), shop) for shop in range(shops)]
    found = []
    for count in counts:
        lessons = [learn(machine, first(each, count)) for each in past]
        found.append(judged(machine, true, lessons, f"{count} jobs", jobs))
        tell(found[-1])
    for words, part in (
        (f"{count} jobs, readings alone", [replace(one, counted=NOTHING) for one in lessons]),
        (f"{count} jobs, counts alone", [replace(one, readings=()) for one in lessons]),
    ):
        found.append(judged(machine, true, part, words, jobs))
        tell(found[-1])
    return found


def run(jobs: int = JOBS) -> dict[str, Any]:
    found = stages(jobs, tell=lambda stage: print(row(stage), flush=True))
    return {
        "title": "A shop that learns from its closed jobs",
        "claim": "Known-good readings raise the share of right verdicts and lower the price to "
        "proof, from three jobs on, while 95 % of good machines stay inside what is predicted.",
        "rows": [row(stage) for stage in found],
        "notes": (__doc__ or "").split("\n\n    python")[0]
        + f"\n\n{LOOKED.format(EXPANSIONS)}",
        "command": COMMAND,
    }


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else JOBS)
