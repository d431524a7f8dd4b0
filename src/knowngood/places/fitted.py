"""What becomes of the parts that are kept for a job when it is closed: fitted and gone, or free."""

from __future__ import annotations

from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM, stockroom_of
from knowngood.job.waiting import FITTED
from knowngood.places.record import Record


def stock_of_closed(record: Record, job: Job, outcome: str) -> list[Event]:
    """Entries of the stockroom for a job that is closed so: a repaired machine has its parts in it,
    and so has one whose decided part was noted as fitted; what was kept for another is free."""
    decided = job.decision.at.seq if job.decision else 0
    noted = any(n.text.startswith(FITTED) and n.at.seq > decided for n in job.notes)
    fitted = outcome == "repaired" or noted
    events: list[Event] = []
    for key, kept in stockroom_of(record.log.events(STOCKROOM)).kept.items():
        many = min(kept.reserved.get(job.id, 0), kept.count)
        if many > 0 and fitted:
            events.append(sr.StockUsed(uuid4().hex, key, float(many), job.id))
        elif job.id in kept.reserved:
            events.append(sr.StockReserved(key, job.id, 0.0))
    return events
