"""Which part of a job a number on an order stands for: the decided one, or one beside it."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.documents.shown import FittedNumber, also, fitted_number
from knowngood.job.job import Job
from knowngood.job.stockroom import Placed
from knowngood.places.parts import same_part
from knowngood.places.record import Record


@dataclass(frozen=True, slots=True)
class PartMeant:
    """A part of the job as its shelf names it."""

    part: str
    words: str


def part_of(record: Record, job: Job, number: str, placed: Placed) -> PartMeant | None:
    """The part of a job that this number of an order is, old and new numbers alike; None when it is
    none that the job is known to need.

    Where nobody has read the decided part's number, the only line of the order for the job is it.
    """
    if (needed := needed_part(record, job, number)) is not None:
        return needed
    decision = job.decision
    mine = [line for line in placed.lines if job.id in line.get("jobs", ())]
    if decision is not None and not decision.number and len(mine) == 1:
        return PartMeant(decision.part, decision.words)
    return None


def needed_part(record: Record, job: Job, number: str) -> PartMeant | None:
    """The part that the job is known to need under this number, old and new alike; else None."""
    maker = job.opened.maker if job.opened else ""
    for part, words, known in _needed(job):
        if known and same_part(record, number, known, maker):
            return PartMeant(part, words)
    return None


def awaited(job: Job) -> str:
    """ "Start box BW-210": what a job is decided on; "" when nothing is."""
    decision = job.decision
    if decision is None:
        return ""
    return f"{decision.words or decision.part} {decision.number}".strip()


def parts_decided(job: Job) -> list[tuple[str, str, str]]:
    """(part, words, number) of the decided part and of those decided with it."""
    decision = job.decision
    if decision is None:
        return []
    return [
        (decision.part, decision.words or decision.part, decision.number),
        *((one.part, one.words, one.number) for one in also(decision)),
    ]


def parts_fitted(job: Job) -> list[tuple[str, str, FittedNumber]]:
    """(part, words, number as it was ordered or fitted) of the same parts."""
    return [
        (part, words, fitted_number(job, part, number))
        for part, words, number in parts_decided(job)
    ]


def _needed(job: Job) -> list[tuple[str, str, str]]:
    return [*parts_decided(job), *((o.part, o.words, o.number) for o in job.shelf.orders.values())]
