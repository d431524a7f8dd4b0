"""Why the part of a job has no number, and where the shop has one that the machine's file lacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM, stockroom_of
from knowngood.machines.machine import Machine
from knowngood.places.library import number_wants, part_number
from knowngood.places.part_meant import parts_decided
from knowngood.places.record import Record
from knowngood.places.sentence import lower_first
from knowngood.shop.claim_check import Lack
from knowngood.shop.supersession import same_number

MOST = 3  # numbers of a price list that are offered
MOST_SEARCHED = 200  # lines of the lists looked at


@dataclass(frozen=True, slots=True)
class Missing:
    """A part decided on without a number. ``why``: what decides it and is not known, else the
    number that is known since; ``field``: "model" or "serial", "" where nothing is to be noted."""

    part: str
    why: str
    field: str = ""


def numbers_missing(machine: Machine, job: Job) -> tuple[Missing, ...]:
    """Of the parts decided on those without a number, where the machine's file has one that the
    model or the serial decides."""
    opened, parts = job.opened, {p.id: p for p in machine.parts}
    model, serial = (opened.model, opened.serial) if opened else ("", "")
    found = []
    for id, words, number in parts_decided(job):
        part = parts.get(id)
        if number or part is None:
            continue
        if wants := number_wants(part, model, serial):
            found.append(Missing(id, wants.why, wants.field))
        elif known := part_number(part, model, serial):
            why = f"the number of {lower_first(words)} is {known}, known since it was decided"
            found.append(Missing(id, why))
    return tuple(found)


def with_number(record: Record, job: Job, lacks: Sequence[Lack]) -> tuple[Lack, ...]:
    """The same lacks; a missing part number with the numbers known elsewhere in the shop."""
    if not any(lack.id == "part_number" for lack in lacks):
        return tuple(lacks)
    known = numbers_known(record, job)
    if not known:
        return tuple(lacks)
    way = "note the right one with the part's order, or add it to the machine's file"
    fix = f"{'; '.join(known)}: {way}"
    return tuple(replace(one, fix=fix) if one.id == "part_number" else one for one in lacks)


def numbers_known(record: Record, job: Job) -> tuple[str, ...]:
    """ "LM-100 on order PO-1 of this job", 'LM-100 "Startbox" in the list of Brackwater'."""
    room = stockroom_of(record.log.events(STOCKROOM))
    found = [
        f"{line['number']} on order {order.order} of this job"
        for order in room.orders.values()
        for line in order.lines
        if job.id in line.get("jobs", ())
    ]
    words = job.decision.words if job.decision else ""
    if words:
        maker = job.opened.maker if job.opened else ""
        begin = words.split()[0]
        listed = [
            one for one in record.log.prices.search(begin, MOST_SEARCHED)
            if same_number(words) in same_number(one.words)  # "Startbox" and "Start box"
        ]  # fmt: skip
        mine = [one for one in listed if one.maker == maker] or listed
        found += [f"{one.number} {one.words!r} in the list of {one.maker}" for one in mine[:MOST]]
    return tuple(found)
