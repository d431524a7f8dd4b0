"""Days as they are typed onto papers."""

from __future__ import annotations

from datetime import date, timedelta

from knowngood.job.job import Job
from knowngood.places.record import At, Refused


def day_text(at: At, on: str = "", job: Job | None = None) -> str:
    """The day as papers carry it: `on` where it is given, else today. Raises Refused for a day to
    come, or one before the machine was here."""
    today = at.now.date()
    day = read_day(on.strip(), "the day")
    if day is None:
        return today.isoformat()
    if day > today:
        raise Refused(f"{day} is still to come, today is {today}; mend the day")
    came = job.opened_at.server_time.date() if job and job.opened_at else None
    if came is not None and day < came - timedelta(days=1):  # zones may differ by a day
        raise Refused(f"{day} is before the machine came in on {came}; mend the day")
    return day.isoformat()


def read_day(text: str, name: str) -> date | None:
    """The day somebody typed, None for none. Raises Refused."""
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{name} is {text[:40]!r}; write the day like 2026-05-04") from None
