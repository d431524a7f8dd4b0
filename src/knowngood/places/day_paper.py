"""What waits in the shop, on one sheet of paper."""

from __future__ import annotations

from datetime import datetime

from knowngood.documents.day_sheet import day_sheet
from knowngood.documents.pdf import render
from knowngood.places.papers_due import papers_due
from knowngood.places.premises import letterhead
from knowngood.places.record import Record
from knowngood.places.shelf import waiting


def day_paper(record: Record, now: datetime) -> bytes:
    """The day as a PDF: papers, the late ones first, then the machines. `now` has the shop's zone.
    """
    now = now.replace(microsecond=0)
    papers = [(one.late, one.line(now.date())) for one in papers_due(record, now.date())]
    machines = [
        (f"▲ {line.unsafe} " if line.unsafe else "") + f"{line.name} {line.machine}: {line.says}"
        + (f", {line.by}" if line.by else "")
        for line in waiting(record, now, max(record.log.count_open(), 1))
    ]
    return render(day_sheet(letterhead(record), papers, machines, now), {}, now)
