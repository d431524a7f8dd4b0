"""What a job waits for, since when, and by when something has to happen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from knowngood.job.job import Job


@dataclass(frozen=True, slots=True)
class Waits:
    """`kind` is one of KINDS; `what` the part or question; `since` a time with its offset and
    `due` a date, both ISO 8601, `due` "" when nothing has a date; `place` where the machine stands.
    """

    kind: str
    what: str = ""
    since: str = ""
    due: str = ""
    place: str = ""
    promised: str = ""


KINDS = ("look", "prove", "order", "part", "answer", "fit", "held", "ready", "closed")


def waits_for(job: Job) -> Waits:
    """Where a job stands, as its events tell it."""
    promised = job.opened.promised if job.opened else ""
    since = job.last.device_time.isoformat() if job.last else ""
    return Waits(
        "closed" if job.closed else "look", since=since, due=a_date(promised), promised=promised
    )


def a_date(text: str) -> str:
    """The text if it is a date (ISO 8601, 2026-03-06), else ""."""
    try:
        return date.fromisoformat(text.strip()[:10]).isoformat()
    except ValueError:
        return ""
