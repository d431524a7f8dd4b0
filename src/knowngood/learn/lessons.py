"""All that closed jobs teach about one machine file, as a text that a job can pin by its digest.

The text holds what was counted (readings, faults, minutes), not what follows from it: like a
machine file it is input. Two jobs with the same text are judged alike.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from knowngood.learn.closed import ClosedJob
from knowngood.learn.good import GoodReading, LeftOut, by_test, good_readings
from knowngood.learn.limits import MOST
from knowngood.learn.minutes import measured
from knowngood.learn.weights import Counted, count_faults
from knowngood.machines.machine import Machine
from knowngood.measure.reading import Reading

FORMAT: Final = 1
NOTHING: Final = Counted(0, {}, {})


@dataclass(frozen=True, slots=True)
class Lessons:
    """`readings`: known good, by test and day, the latest `MOST` of each test; `left_out`: jobs
    whose readings do not count (not part of the text)."""

    machine: str
    readings: tuple[GoodReading, ...] = ()
    counted: Counted = NOTHING
    minutes: tuple[tuple[str, int, float], ...] = ()  # what, how many, their median
    model: str = ""  # whose readings count first, where nobody names another
    left_out: tuple[LeftOut, ...] = field(default=(), compare=False)

    @property
    def empty(self) -> bool:
        return not (self.readings or self.counted.jobs or self.minutes)

    @property
    def words(self) -> str:
        """ "31 known-good readings and 12 closed jobs of this shop"."""
        n, jobs = len(self.readings), self.counted.jobs
        return (f"{n} known-good reading{'' if n == 1 else 's'} and "
                f"{jobs} closed job{'' if jobs == 1 else 's'} of this shop")  # fmt: skip


def learn(machine: Machine, jobs: Sequence[ClosedJob]) -> Lessons:
    """What these closed jobs (in the order they were closed) teach about this machine file, whose
    wiring has been worked out. Jobs of other files are passed over."""
    readings, left = good_readings(machine, jobs)
    kept = [r for each in by_test(readings).values() for r in each[-MOST:]]
    return Lessons(
        machine.id, tuple(kept), count_faults(machine, jobs),
        measured(machine, jobs), "", left,
    )  # fmt: skip


def to_text(lessons: Lessons) -> str:
    """The lessons as JSON, always the same text for the same lessons."""
    return json.dumps(
        {
            "lessons": FORMAT,
            "machine": lessons.machine,
            "model": lessons.model,
            "readings": [_plain(r) for r in lessons.readings],
            "jobs": lessons.counted.jobs,
            "by_part": dict(lessons.counted.by_part),
            "by_fault": dict(lessons.counted.by_fault),
            "minutes": [list(m) for m in lessons.minutes],
        },
        sort_keys=True, ensure_ascii=False, allow_nan=False,
    )  # fmt: skip


def from_text(text: str) -> Lessons:
    """The lessons that `to_text` wrote. Raises ValueError saying what is off."""
    try:
        data = json.loads(text)
        if not isinstance(data, dict) or data.get("lessons") != FORMAT:
            raise ValueError("it has no \"lessons\": 1; `knowngood learn save` writes one")
        readings = tuple(_reading(r) for r in data["readings"])
        counted = Counted(int(data["jobs"]), _numbers(data["by_part"], int),
                          _numbers(data["by_fault"], float))  # fmt: skip
        minutes = tuple((str(what), int(n), float(m)) for what, n, m in data["minutes"])
        return Lessons(str(data["machine"]), readings, counted, minutes, str(data["model"]))
    except (TypeError, LookupError, AttributeError, OverflowError, RecursionError) as error:
        raise ValueError(f"it does not hold together: {error!r}") from error


def _numbers(given: Mapping[str, Any], kind: type[Any]) -> dict[str, Any]:
    return {str(k): kind(v) for k, v in given.items()}


def _plain(r: GoodReading) -> dict[str, object]:
    it = r.reading
    return {
        "test": r.test, "value": it.low, "unit": it.unit, "quantity": it.quantity, "text": it.text,
        "u_random": it.u_random, "u_shared": it.u_shared, "meter": it.meter, "range": it.range_name,
        "model": r.model, "job": r.job, "number": r.job_name, "id": r.id, "day": r.day, "by": r.by,
        "after": r.after, "celsius": r.celsius, "standing": r.standing,
    }  # fmt: skip


def _reading(row: Mapping[str, Any]) -> GoodReading:
    value, u_random, u_shared = (float(row[k]) for k in ("value", "u_random", "u_shared"))
    if not (abs(value) < 1e15 and 0 <= u_random < 1e15 and 0 <= u_shared < 1e15):
        raise ValueError(f"reading {row['id']!r} has numbers that no meter shows")
    reading = Reading(
        "value", str(row["quantity"]), value, value, str(row["unit"]), str(row["text"]), u_random,
        u_shared, 0.0, row["meter"], row["range"],
    )  # fmt: skip
    celsius = None if row["celsius"] is None else float(row["celsius"])
    return GoodReading(
        str(row["job"]), str(row["number"]), str(row["id"]), str(row["test"]), str(row["model"]),
        reading, str(row["day"]), str(row["by"]), bool(row["after"]), celsius, str(row["standing"]),
    )  # fmt: skip
