"""What this shop knows by its own closed jobs: shown, asked about, and taken over by a job."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import cast, get_args

from knowngood.job.learning import STANDING_WORDS, LessonsPinned, ReadingStands, Standing
from knowngood.job.learning import WarmthNoted as Warmth
from knowngood.learn.lessons import Lessons
from knowngood.learn.limits import Asked, TestLesson
from knowngood.learn.limits import lessons_of as limits_of
from knowngood.learn.minutes import Timed, drawn
from knowngood.machines.machine import Machine, Test
from knowngood.machines.nearest import did_you_mean
from knowngood.measure.meter import MeterSheet, shipped_meters
from knowngood.measure.units import UnitError, parse_quantity
from knowngood.places.catalogue import machine_named
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.lessons import closed_jobs, lessons_of, pin
from knowngood.places.library import find_machine, find_meter, find_test
from knowngood.places.record import At, Record, Refused

COLDEST, HOTTEST = -40.0, 60.0


@dataclass(frozen=True, slots=True)
class KnownTest:
    """A test with the known-good readings of one model, or of all where none is named."""

    test: Test
    lesson: TestLesson


@dataclass(frozen=True, slots=True)
class KnownGood:
    """All that the shop knows of a machine file. ``model``: as compared, "" for all;
    ``models``: those of which there are readings."""

    machine: Machine
    lessons: Lessons
    model: str
    models: tuple[str, ...]
    tests: tuple[KnownTest, ...]
    minutes: tuple[Timed, ...]
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """A reading that stands out, to be kept, put down as wrong, or as of a machine that differs.

    ``number``: its place on the job, from 1. ``asked``: how far out it is, in base units.
    """

    job: str
    job_name: str
    number: int
    machine: str
    test: Test
    asked: Asked

    @property
    def name(self) -> str:
        """As a person names it: "26-0007/3"."""
        return f"{self.job_name}/{self.number}"


@dataclass(frozen=True, slots=True)
class Learned:
    """One machine file of which the shop has closed jobs."""

    machine: str
    words: str
    jobs: int
    proven: int
    readings: int
    questions: int


def machine_called(record: Record, name: str) -> Machine:
    """A machine of the shop or a shipped one, or a file. Raises Refused."""
    known = machine_named(record, name)
    return known.it if known is not None else find_machine(name).it


def known_good(
    record: Record, machine: Machine, model: str = "", meter: MeterSheet | None = None
) -> KnownGood:
    """What closed jobs have shown good on this machine file. ``model``: maker and model, to count
    the readings of that one first; ``meter``: None for that of most readings. Raises
    Refused for a model of which there is none."""
    lessons, whole = lessons_of(record, machine, meter)
    usual = None if meter is not None else _usual_meter(lessons)
    if usual is not None:  # what the file expects of a good one depends on who reads it
        lessons, whole = lessons_of(record, machine, usual)
    models = tuple(sorted({r.model for r in lessons.readings if r.model}))
    chosen = _model(model, models)
    each = limits_of(whole, lessons.readings, chosen)
    tests = tuple(KnownTest(t, each[t.id]) for t in whole.tests if t.id in each)
    return KnownGood(
        whole, lessons, chosen, models, tests, drawn(whole, lessons.minutes),
        _questions(record, whole, lessons),
    )  # fmt: skip


def _usual_meter(lessons: Lessons) -> MeterSheet | None:
    """The sheet with which most of the readings were taken; None when it does not come along."""
    names = Counter(r.reading.meter for r in lessons.readings if r.reading.meter)
    name = names.most_common(1)[0][0] if names else ""
    return find_meter(name).it if name and name in shipped_meters() else None


def _model(text: str, models: tuple[str, ...]) -> str:
    wanted = " ".join(text.casefold().split())
    if not wanted or wanted in models:
        return wanted
    close = [m for m in models if wanted in m]
    if len(close) == 1:
        return close[0]
    raise Refused(f"there are no known-good readings of {text!r}. {did_you_mean(wanted, models)}")


def known_of_test(
    record: Record, machine: Machine, test: str, model: str = ""
) -> KnownTest:
    """The known-good readings of one test. Raises Refused where there are none."""
    known = known_good(record, machine, model)
    wanted = find_test(known.machine, test).id
    for one in known.tests:
        if one.test.id == wanted:
            return one
    raise Refused(f"there is no known-good reading of {wanted} yet: it takes a closed job with a "
                  "proven part")  # fmt: skip


def _questions(record: Record, machine: Machine, lessons: Lessons) -> tuple[Question, ...]:
    tests = {t.id: t for t in machine.tests}
    found = []
    for id, lesson in limits_of(machine, lessons.readings).items():
        for asked in lesson.asked:
            job = load_job(record, asked.reading.job)
            number = 1 + next(i for i, r in enumerate(job.readings) if r.id == asked.reading.id)
            found.append(Question(job.id, job.name, number, machine.id, tests[id], asked))
    return tuple(sorted(found, key=lambda q: q.name))


def learned(record: Record) -> tuple[Learned, ...]:
    """Every machine file of which there are closed jobs, the one with the most first."""
    jobs = closed_jobs(record)
    found = []
    for id in dict.fromkeys(job.machine for job in jobs if job.machine):
        mine = [job for job in jobs if job.machine == id]
        known = machine_named(record, id)
        if known is None:
            found.append(Learned(id, "its file is not here", len(mine), 0, 0, 0))
            continue
        good = known_good(record, known.it)
        found.append(
            Learned(id, known.it.words, len(mine), good.lessons.counted.jobs,
                    len(good.lessons.readings), len(good.questions))
        )  # fmt: skip
    return tuple(sorted(found, key=lambda one: (-one.jobs, one.machine)))


def questions(record: Record, machine: str = "") -> tuple[Question, ...]:
    """Readings that stand out and were not answered yet, of one machine file or of all."""
    ids = [machine] if machine else list(dict.fromkeys(j.machine for j in closed_jobs(record)))
    found: list[Question] = []
    for id in ids:
        known = machine_named(record, id) if id else None
        if known is not None:
            found += known_good(record, known.it).questions
    return tuple(found)


def answer(
    record: Record, job_id: str, number: int, standing: str, at: At, reason: str = ""
) -> str:
    """Keep what a person says about a known-good reading; its words. Raises Refused."""
    if standing not in get_args(Standing):
        raise Refused(f"{standing!r}: say keep (it is good), wrong (a slip) or differs (right, but "
                      "this machine is not like the others)")  # fmt: skip
    job = load_job(record, job_id)
    if not 1 <= number <= len(job.readings):
        raise Refused(f"job {job.name} has readings 1 to {len(job.readings)}")
    reading = job.readings[number - 1]
    if not reading.live:
        raise Refused(f"reading {number} of job {job.name} was taken back; it does not count")
    if job.closed is None:
        raise Refused(f"job {job.name} is open: withdraw the reading there if it is wrong")
    event = ReadingStands(reading.id, cast(Standing, standing), reason.strip())
    record.append(job.id, [event], at)
    return f"{job.name}/{number}, {reading.text}: {STANDING_WORDS[standing]}"


def use_latest(record: Record, job_id: str, at: At, alone: bool = False) -> View:
    """Judge this job from here on with what the shop has learned by now; ``alone`` by its machine
    file alone. Raises Refused where nothing would change."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    events = [] if alone else pin(record, machine_called(record, machine.id))
    if alone and job.learning.digest:
        events = [LessonsPinned("")]
    new = events[0].digest if events and isinstance(events[0], LessonsPinned) else ""
    if not events or new == job.learning.digest:
        raise Refused("nothing would change: " + (
            f"it is judged with {job.learning.words} already" if job.learning.digest
            else "this shop has closed no job of this machine that teaches anything"))  # fmt: skip
    record.append(job.id, events, at)
    return look(record, job.id)


def warmth_in(text: str) -> float:
    """Degrees Celsius of "22 C", "72 F" or a bare number of degrees Celsius. Raises Refused."""
    try:
        celsius, kind = parse_quantity(re.sub(r"\s*F$", " degF", text.strip()))  # no farads here
    except UnitError as error:
        raise Refused(f"{error}: how warm is it? such as 22 C or 72 F") from error
    if kind not in ("temperature", "number"):
        raise Refused(f"{text!r} is no temperature: how warm is it? such as 22 C or 72 F")
    return celsius


def note_warmth(record: Record, job_id: str, celsius: float, at: At) -> View:
    """How warm it is at the bench; kept with the readings from here on. Raises Refused."""
    if not COLDEST <= celsius <= HOTTEST:
        raise Refused(f"{celsius:g} degrees Celsius: {COLDEST:g} to {HOTTEST:g} at a bench")
    record.append(job_id, [Warmth(celsius)], at)
    return look(record, job_id)
