"""Parts that come in: counted against their order, noted on the jobs that wait, sent back, taken
back as an entry when it was a mistake."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import Event, NoteAdded
from knowngood.job.job import Job, replay
from knowngood.job.shelf import Order, OrderWithdrawn, PartArrived, PartOrdered
from knowngood.job.stockroom import (
    STOCKROOM,
    Kept,
    Placed,
    Stockroom,
    entry_of,
    stockroom_of,
    with_event,
)
from knowngood.places.gather import load_job
from knowngood.places.part_meant import awaited, needed_part, part_of
from knowngood.places.parts import same_part
from knowngood.places.record import At, Record, Refused
from knowngood.places.stockroom import (
    day_of,
    jobs_of,
    kept_named,
    key_of,
    order_named,
    part_here,
    positive,
    room_of,
)

Noted = tuple[str, list[Event]]
"""A job's id and what is noted on it."""


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
    order = placed.order
    if not placed.open:
        raise Refused(f"all of order {order} has come already; nothing was changed")
    parts, told = _counted(record, placed, came)
    lines = {"lines": [{"key": key, "count": many} for key, many in parts.items()]}
    received = sr.OrderReceived(entry or uuid4().hex, order, lines)
    before = room_of(record)
    room = with_event(before, received, day_of(at))
    numbers = {line["key"]: line["number"] for line in placed.lines}
    touched, stock, notes = [], list[Event]([received]), list[Noted]()
    for key in parts:
        for job_id in _kept_since(before, room, key):
            job = load_job(record, job_id)
            if job.closed is not None:  # nothing waits for it any more
                stock.append(sr.StockReserved(key, job_id, 0.0))
                told.append(f"{numbers[key]} was ordered for job {job.name}, which is closed: it "
                            "lies there free")  # fmt: skip
                continue
            events, said = _here(record, job, numbers[key], room.kept[key], placed)
            notes.append((job_id, events))
            told += said
            touched.append(job_id)
    record.append_all([(STOCKROOM, stock), *notes], at)
    jobs = [load_job(record, job_id) for job_id in dict.fromkeys(touched)]
    return Receipt(tuple(job for job in jobs if _can_go_on(job)), tuple(told))


def _kept_since(before: Stockroom, after: Stockroom, key: str) -> list[str]:
    """Jobs for which parts of a number are kept now and were not."""
    had = before.kept[key].reserved if key in before.kept else {}
    has = after.kept[key].reserved if key in after.kept else {}
    return [job for job in has if job not in had]


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
            ordered = next(line["number"] for line in placed.lines if line["key"] == key)
            raise Refused(
                f"{parts[key]} of {ordered} came, but {placed.open.get(key, 0)} are open on order "
                f"{placed.order}; count what is over as stock"
            )
    return parts, told


def _here(
    record: Record, job: Job, number: str, kept: Kept, placed: Placed
) -> tuple[list[Event], list[str]]:
    """What is noted on the job whose part is here; what to say when it is another than it waits
    for."""
    meant = part_of(record, job, number, placed)
    if meant is not None:
        words = meant.words or kept.words or number
        return [PartArrived(meant.part, words, kept.bin)], []
    waits = awaited(job)
    not_it = f", and is not {waits}" if waits else ""
    said = f"{number} of order {placed.order} came for this job{not_it}"
    told = said.replace("this job", f"job {job.name}") + ": look before it is fitted"
    return [NoteAdded(said)], [told]


def _can_go_on(job: Job) -> bool:
    """The decided part is here, and nothing else is on its way; without a decision any part is."""
    here = {order.part for order in job.shelf.here}
    decided = job.decision is None or job.decision.part in here
    return decided and not job.shelf.on_order


@dataclass(frozen=True, slots=True)
class Returned:
    """What is left of a number that went back; `waits`: jobs that want their part again."""

    kept: Kept
    waits: tuple[Job, ...] = ()


def send_back(
    record: Record, order: str, number: str, many: int, reason: str, at: At
) -> Returned:
    """A wrong part goes back to its supplier; it needs its reason. A job for which it was kept
    waits for its part again.

    Of a number that was ordered no more goes back than came; another one, that came in its place
    and was counted, goes back as far as no job waits for it.
    """
    placed = order_named(record, order)
    kept = kept_named(record, number)
    positive(many)
    if not reason.strip():
        raise Refused("a part that goes back needs its reason, as the supplier will ask")
    if many > kept.count:
        raise Refused(f"{many} of {kept.number} sent back, but {kept.count} lie there")
    ordered = any(line["key"] == kept.key for line in placed.lines)
    if ordered and many > placed.there(kept.key):
        raise Refused(
            f"{many} of {kept.number} sent back, but {placed.there(kept.key)} of order "
            f"{placed.order} are here: name the order that brought it"
        )
    event = sr.PartSentBack(
        uuid4().hex, placed.order, kept.key, float(many), reason.strip()
    )  # fmt: skip
    before = room_of(record)
    after = with_event(before, event, day_of(at))
    if after.kept[kept.key].free < 0:
        raise Refused(
            f"{many} of {kept.number} sent back, but other jobs wait for what would be left; set "
            "it free first"
        )
    lost = _kept_since(after, before, kept.key)
    notes = [(one, _not_here(record, one, kept.number, reason.strip())) for one in lost]
    record.append_all([(STOCKROOM, [event]), *notes], at)
    return Returned(after.kept[kept.key], tuple(load_job(record, one) for one in lost))


def _not_here(record: Record, job_id: str, number: str, reason: str) -> list[Event]:
    here = part_here(record, load_job(record, job_id), number)
    return [OrderWithdrawn(here.part, f"{number} went back: {reason}", here.words)] if here else []


def take_back(record: Record, entry: str, reason: str, at: At) -> Stockroom:
    """Withdraw a use, a receipt, a return or an order, and what it noted on jobs. Refused where
    counts would fall below 0."""
    room = room_of(record)
    if entry not in room.entries:
        raise Refused(f"the stockroom has no entry {entry!r} to take back")
    placed = room.orders.get(entry)
    ordered = sum(int(line["count"]) for line in placed.lines) if placed else 0
    if placed is not None and sum(placed.open.values()) < ordered:
        raise Refused(f"parts of order {entry} have come; take their receipt back first")
    events = record.log.events(STOCKROOM)
    now = stockroom_of([e for e in events if entry_of(e.event) != entry])
    short = [k.number for k in now.kept.values() if k.count < 0]
    if short:
        raise Refused(f"without it fewer than 0 of {', '.join(short)} would lie there")
    notes = _off_order(record, placed, reason) if placed is not None else []
    gone = next(e.event for e in events if entry_of(e.event) == entry)
    stock: list[Event] = [sr.StockWithdrawn(entry, reason)]
    for key in room.kept:
        if isinstance(gone, sr.OrderReceived) and gone.order in now.orders:
            notes += [(one, _waits_again(record, one, key, now.orders[gone.order]))
                      for one in _kept_since(now, room, key)]  # fmt: skip
        for one in _kept_since(room, now, key):
            job = load_job(record, one)
            if job.closed is not None:
                stock.append(sr.StockReserved(key, one, 0.0))
            elif not isinstance(gone, sr.OrderReceived):
                notes.append((one, _back_again(record, job, now.kept[key], now, gone)))
    if isinstance(gone, sr.StockUsed) and gone.job and gone.job not in now.kept[gone.key].reserved:
        notes.append((gone.job, _never_taken(record, gone)))
    record.append_all([(STOCKROOM, stock), *notes], at)
    return room_of(record)


def _back_again(
    record: Record, job: Job, kept: Kept, room: Stockroom, gone: object
) -> list[Event]:
    """A part that was sent back, or used, for a job lies there for it after all."""
    if part_here(record, job, kept.number):
        return []
    placed = room.orders.get(gone.order) if isinstance(gone, sr.PartSentBack) else None
    if placed is None:
        needed = needed_part(record, job, kept.number)
        if needed is None:
            return []
        return [PartArrived(needed.part, needed.words, kept.bin, kept.number)]
    number = next((x["number"] for x in placed.lines if x["key"] == kept.key), kept.number)
    meant = part_of(record, job, number, placed)
    if meant is None:
        return []
    again = PartOrdered(meant.part, meant.words, number, placed.supplier, placed.expected)
    return [again, PartArrived(meant.part, meant.words, kept.bin)]


def _never_taken(record: Record, used: sr.StockUsed) -> list[Event]:
    """A part that was taken from the shelf for a job was not; one that came by an order stays."""
    job = load_job(record, used.job)
    here = part_here(record, job, used.key)
    if here is None or here.number or job.closed is not None:
        return []
    return [OrderWithdrawn(here.part, f"{used.key} was not taken after all", here.words)]


def _waits_again(record: Record, job_id: str, key: str, placed: Placed) -> list[Event]:
    """The part of a job is not here after all: it is on this order as before."""
    job = load_job(record, job_id)
    mine = (line for line in placed.lines if job_id in line.get("jobs", ()) and line["key"] == key)
    for line in mine:
        meant = part_of(record, job, line["number"], placed)
        here = next((o for o in job.shelf.here if meant and o.part == meant.part), None)
        if here is not None:
            return [
                PartOrdered(here.part, here.words, line["number"], here.supplier, here.expected)
            ]
    return []


def _off_order(record: Record, placed: Placed, reason: str) -> list[Noted]:
    """The jobs of an order that was taken back wait for it no longer; what a person had noted there
    as ordered stands as before."""
    notes = list[Noted]()
    for job_id in jobs_of(placed):
        job, before = load_job(record, job_id), _by_hand(record, job_id)
        numbers = {line["number"] for line in placed.lines if job_id in line.get("jobs", ())}
        events = list[Event]()
        for one in job.shelf.on_order:
            if one.number not in numbers or one.supplier != placed.supplier:
                continue
            was = before.get(one.part)
            events.append(
                OrderWithdrawn(one.part, reason, one.words) if was is None or was.arrived else
                PartOrdered(was.part, was.words, was.number, was.supplier, was.expected,
                            was.despite, was.reason)
            )  # fmt: skip
        notes.append((job_id, events))
    return notes


def _by_hand(record: Record, job_id: str) -> Mapping[str, Order]:
    """What was ordered of a job without the stockroom, by part: what an order or its taking back
    wrote has their time."""
    stock = {e.server_time for e in record.log.events(STOCKROOM)
             if isinstance(e.event, sr.OrderPlaced | sr.StockWithdrawn)}  # fmt: skip
    mine = [e for e in record.log.events(job_id)
            if not (isinstance(e.event, PartOrdered | OrderWithdrawn) and e.server_time in stock)]
    return replay(mine).shelf.orders
