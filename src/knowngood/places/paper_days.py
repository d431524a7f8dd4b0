"""Days as they are typed onto papers."""

from __future__ import annotations

from datetime import date

from knowngood.job.job import Job
from knowngood.job.paperwork import ClaimSent
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
    came = _came_in(at, job)
    if came is not None and day < came:
        raise Refused(f"{day} is before the machine came in on {came}; mend the day")
    return day.isoformat()


def _came_in(at: At, job: Job | None) -> date | None:
    """The day the machine came in: by the phone's clock or in the zone of today, the earlier."""
    opened = job.opened_at if job is not None else None
    if opened is None:
        return None
    return min(opened.device_time.date(), opened.server_time.astimezone(at.now.tzinfo).date())


def claim_day(at: At, on: str, job: Job, of_last: bool = False) -> str:
    """As `day_text`, of what comes in on a claim: not before the claim was sent, nor, of an answer
    (``of_last``), before it was sent again."""
    day = day_text(at, on, job)
    sent = [move.day for move in job.paperwork.moves if isinstance(move, ClaimSent)]
    first = sent[-1 if of_last else 0] if sent else day
    if day < first:
        raise Refused(f"{day} is before the claim was sent on {first}; mend the day")
    return day


def read_day(text: str, name: str) -> date | None:
    """The day somebody typed, None for none. Raises Refused."""
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{name} is {text[:40]!r}; write the day like 2026-05-04") from None
