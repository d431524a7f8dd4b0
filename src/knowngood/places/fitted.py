"""What becomes of the parts that are kept for a job when it is closed: fitted and gone, or free;
and when it is opened again."""

from __future__ import annotations

from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import Envelope, Event, JobReopened
from knowngood.job.job import Job
from knowngood.job.shelf import OrderWithdrawn
from knowngood.job.stockroom import STOCKROOM, Stockroom, stockroom_of
from knowngood.job.waiting import fitted_at
from knowngood.places.ends import without_parts
from knowngood.places.part_meant import needed_part
from knowngood.places.record import Record


def stock_of_closed(record: Record, job: Job, outcome: str) -> list[Event]:
    """Entries of the stockroom for a job that is closed so: a machine that leaves has its parts in,
    unless the end says that it was not repaired and nobody noted the part as fitted; then what was
    kept for it is free."""
    fitted = fitted_at(job) is not None or not without_parts(outcome)
    events: list[Event] = []
    for key, kept in stockroom_of(record.log.events(STOCKROOM)).kept.items():
        many = min(kept.reserved.get(job.id, 0), kept.count)
        if many > 0 and fitted:
            events.append(sr.StockUsed(uuid4().hex, key, float(many), job.id))
        elif job.id in kept.reserved:
            events.append(sr.StockReserved(key, job.id, 0.0))
    return events


def reopened(record: Record, job: Job, reason: str) -> list[tuple[str, list[Event]]]:
    """What is stored as a job is opened again: its closing's entries in the stockroom are taken
    back with it, unless the part was noted as fitted. What another job has by now, or what was
    counted since, stays so; the job is told that its part is not here."""
    opened: list[Event] = [JobReopened(reason)]
    history = record.log.events(STOCKROOM)
    closing = of_closing(job, history)
    if job.closed is None or not closing or fitted_at(job) is not None:
        return [(job.id, opened)]
    before = stockroom_of(e for e in history if job.closed and e.seq < job.closed.at.seq)
    room = stockroom_of(history)
    stock: list[Event] = []
    for event in (e.event for e in closing):
        if not isinstance(event, sr.StockUsed | sr.StockReserved) or event.key not in room.kept:
            continue
        if isinstance(event, sr.StockUsed) and event.entry in room.entries:
            if not _counted_since(history, closing[-1].seq, event.key):
                stock.append(sr.StockWithdrawn(event.entry, "the job was opened again"))
            continue
        many = min(before.kept[event.key].reserved.get(job.id, 0), room.kept[event.key].free)
        if many > 0:
            stock.append(sr.StockReserved(event.key, job.id, float(many)))
        else:
            opened += _meanwhile(record, job, room, event.key)
    return [(job.id, opened), (STOCKROOM, stock)]


def of_closing(job: Job, history: list[Envelope]) -> list[Envelope]:
    """The entries of the stockroom that the closing of a job wrote; none of an open one."""
    if job.closed is None:
        return []
    at = job.closed.at
    return [
        e for e in history
        if e.seq > at.seq and e.server_time == at.server_time
        and isinstance(e.event, sr.StockUsed | sr.StockReserved) and e.event.job == job.id
    ]  # fmt: skip


def _counted_since(history: list[Envelope], seq: int, key: str) -> bool:
    return any(
        e.seq > seq and isinstance(e.event, sr.StockCounted) and e.event.key == key
        for e in history
    )  # fmt: skip


def _meanwhile(record: Record, job: Job, room: Stockroom, key: str) -> list[Event]:
    """The part lies there no more, or for another job."""
    number = room.kept[key].number
    meant = needed_part(record, job, number)
    here = any(meant is not None and one.part == meant.part for one in job.shelf.here)
    if meant is None or not here:
        return []
    why = f"{number} was taken while the job was closed"
    return [OrderWithdrawn(meant.part, why, meant.words)]
