"""What becomes of the parts that are kept for a job when it is closed: fitted and gone, or free."""

from __future__ import annotations

from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM, stockroom_of
from knowngood.job.waiting import FITTED
from knowngood.places.ends import without_parts
from knowngood.places.record import Record


def stock_of_closed(record: Record, job: Job, outcome: str) -> list[Event]:
    """Entries of the stockroom for a job that is closed so: a machine that leaves has its parts in,
    unless the end says that it was not repaired and nobody noted the part as fitted; then what was
    kept for it is free."""
    decided = job.decision.at.seq if job.decision else 0
    noted = any(n.text.startswith(FITTED) and n.at.seq > decided for n in job.notes)
    fitted = noted or not without_parts(outcome)
    events: list[Event] = []
    for key, kept in stockroom_of(record.log.events(STOCKROOM)).kept.items():
        many = min(kept.reserved.get(job.id, 0), kept.count)
        if many > 0 and fitted:
            events.append(sr.StockUsed(uuid4().hex, key, float(many), job.id))
        elif job.id in kept.reserved:
            events.append(sr.StockReserved(key, job.id, 0.0))
    return events
