"""Parts that come in: counted against their order, noted on the jobs that wait, sent back, taken
back as an entry when it was a mistake."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import NoteAdded
from knowngood.job.job import Job
from knowngood.job.shelf import OrderWithdrawn, PartArrived, PartOrdered
from knowngood.job.stockroom import STOCKROOM, Kept, Placed, Stockroom, entry_of, stockroom_of
from knowngood.places.gather import load_job
from knowngood.places.part_meant import awaited, part_of
from knowngood.places.parts import same_part
from knowngood.places.record import At, Record, Refused
from knowngood.places.stockroom import (
    jobs_of,
    kept_named,
    key_of,
    order_named,
    positive,
    room_of,
    write,
)


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a delivery changed. `ready`: jobs that can go on now; `told`: what came that is not what
    was ordered or what a job waits for, a sentence each."""

    ready: tuple[Job, ...]
    told: tuple[str, ...] = ()


def receive(
    record: Record, order: str, came: Mapping[str, int] | None, at: At, entry: str = ""
) -> Receipt:
    """What came of an order (None: all that is open). A number counts for the one that was ordered
    when that became it, or it became that.

    An order received twice is refused; so is more than was ordered, and another part.
    """
    placed = order_named(record, order)
    if not placed.open:
        raise Refused(f"all of order {order} has come already; nothing was changed")
    parts, told = _counted(record, placed, came)
    lines = {"lines": [{"key": key, "count": many} for key, many in parts.items()]}
    before = room_of(record)
    write(record, sr.OrderReceived(entry or uuid4().hex, order, lines), at)
    room = room_of(record)
    numbers = {line["key"]: line["number"] for line in placed.lines}
    touched: list[str] = []
    for key in parts:
        kept = room.kept[key]
        had = before.kept[key].reserved if key in before.kept else {}
        for job_id in kept.reserved:
            if job_id not in had:
                told += _here(record, job_id, numbers[key], kept, placed, at)
                touched.append(job_id)
    jobs = [load_job(record, job_id) for job_id in dict.fromkeys(touched)]
    return Receipt(tuple(job for job in jobs if _can_go_on(job)), tuple(told))


def _counted(
    record: Record, placed: Placed, came: Mapping[str, int] | None
) -> tuple[dict[str, int], list[str]]:
    """Counts by the key that was ordered, and what to say of a number that is not the ordered one.
    Raises Refused."""
    if came is None:
        return dict(placed.open), []
    parts, told = dict[str, int](), list[str]()
    for number, many in came.items():
        positive(many)
        key = key_of(number)
        if key not in placed.open:
            alike = [line for line in placed.lines if placed.open.get(line["key"])
                     and same_part(record, number, line["number"], placed.supplier)]  # fmt: skip
            if alike:
                key, ordered = alike[0]["key"], alike[0]["number"]
                told.append(f"{number} came for {ordered}, which is the same part by the price "
                            f"list: counted as {ordered}")  # fmt: skip
            elif key not in {line["key"] for line in placed.lines}:
                there = ", ".join(line["number"] for line in placed.lines)
                raise Refused(
                    f"{number} is not on order {placed.order}, which has {there}: another part "
                    "came, and nothing was changed. Read its number once more; if it is another "
                    "one, count it as stock, then send it back to its supplier"
                )
        parts[key] = parts.get(key, 0) + many
        if parts[key] > placed.open.get(key, 0):
            raise Refused(
                f"{parts[key]} of {key} came, but {placed.open.get(key, 0)} are open on order "
                f"{placed.order}; count what is over as stock"
            )
    return parts, told


def _here(
    record: Record, job_id: str, number: str, kept: Kept, placed: Placed, at: At
) -> list[str]:
    """Note on the job that its part is here; what to say when it is another than it waits for."""
    job = load_job(record, job_id)
    meant = part_of(record, job, number, placed)
    if meant is not None:
        words = meant.words or kept.words or number
        record.append(job_id, [PartArrived(meant.part, words, kept.bin)], at)
        return []
    waits = awaited(job)
    not_it = f", and is not {waits}" if waits else ""
    said = f"{number} of order {placed.order} came for this job{not_it}"
    record.append(job_id, [NoteAdded(said)], at)
    return [said.replace("this job", f"job {job.name}") + ": look before it is fitted"]


def _can_go_on(job: Job) -> bool:
    """The decided part is here, and nothing else is on its way; without a decision any part is."""
    here = {order.part for order in job.shelf.here}
    decided = job.decision is None or job.decision.part in here
    return decided and not job.shelf.on_order


def send_back(
    record: Record, order: str, number: str, many: int, reason: str, at: At
) -> Kept:
    """A wrong part goes back to its supplier; it needs its reason."""
    order_named(record, order)
    kept = kept_named(record, number)
    positive(many)
    if not reason.strip():
        raise Refused("a part that goes back needs its reason, as the supplier will ask")
    if many > kept.count:
        raise Refused(f"{many} of {kept.number} sent back, but {kept.count} lie there")
    write(record, sr.PartSentBack(uuid4().hex, order, kept.key, float(many), reason.strip()), at)
    return room_of(record).kept[kept.key]


def take_back(record: Record, entry: str, reason: str, at: At) -> Stockroom:
    """Withdraw a use, a receipt, a return or an order. Refused where counts would fall below 0."""
    room = room_of(record)
    if entry not in room.entries:
        raise Refused(f"the stockroom has no entry {entry!r} to take back")
    withdrawn = sr.StockWithdrawn(entry, reason)
    placed = room.orders.get(entry)
    ordered = sum(int(line["count"]) for line in placed.lines) if placed else 0
    if placed is not None and sum(placed.open.values()) < ordered:
        raise Refused(f"parts of order {entry} have come; take their receipt back first")
    events = [e for e in record.log.events(STOCKROOM) if entry_of(e.event) != entry]
    short = [k.number for k in stockroom_of(events).kept.values() if k.count < 0]
    if short:
        raise Refused(f"without it fewer than 0 of {', '.join(short)} would lie there")
    write(record, withdrawn, at)
    if placed is not None:
        _off_order(record, placed, reason, at)
    now = room_of(record)
    if (receipt := _receipt(record, entry)) is not None and receipt.order in now.orders:
        for key, kept in room.kept.items():
            still = now.kept[key].reserved if key in now.kept else {}
            for job_id in set(kept.reserved) - set(still):
                _waits_again(record, job_id, key, now.orders[receipt.order], at)
    return now


def _receipt(record: Record, entry: str) -> sr.OrderReceived | None:
    events = (e.event for e in record.log.events(STOCKROOM))
    received = (event for event in events if isinstance(event, sr.OrderReceived))
    return next((event for event in received if event.entry == entry), None)


def _waits_again(record: Record, job_id: str, key: str, placed: Placed, at: At) -> None:
    """The part of a job is not here after all: it is on this order as before."""
    job = load_job(record, job_id)
    mine = (line for line in placed.lines if job_id in line.get("jobs", ()) and line["key"] == key)
    for line in mine:
        meant = part_of(record, job, line["number"], placed)
        here = next((o for o in job.shelf.here if meant and o.part == meant.part), None)
        if here is not None:
            again = PartOrdered(here.part, here.words, line["number"], here.supplier, here.expected)
            record.append(job_id, [again], at)
            return


def _off_order(record: Record, placed: Placed, reason: str, at: At) -> None:
    """The jobs of an order that was taken back wait for it no longer."""
    for job_id in jobs_of(placed):
        job = load_job(record, job_id)
        numbers = {line["number"] for line in placed.lines if job_id in line.get("jobs", ())}
        gone = [OrderWithdrawn(o.part, reason) for o in job.shelf.on_order
                if o.number in numbers and o.supplier == placed.supplier]  # fmt: skip
        if gone:
            record.append(job_id, gone, at)
