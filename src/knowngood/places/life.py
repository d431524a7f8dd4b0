"""How long repairs of a machine have held here, and how old it is, for repair or new."""

from __future__ import annotations

from datetime import date, datetime

from knowngood.documents.wording import day
from knowngood.job.events import JobClosed, JobOpened, JobReopened
from knowngood.job.job import Job
from knowngood.learn.closed import REPAIRED
from knowngood.learn.life import DAYS_OF_A_YEAR, Life, Spell, years_after_repair
from knowngood.places.record import Record


def life_here(record: Record, job: Job, now: datetime) -> Life | None:
    """Years to the next visit after a repair of this kind of machine; None from too few.

    A machine is followed by maker and serial; one read of the record's check-ins and closings.
    """
    if job.opened is None or not job.opened.machine_id:
        return None
    visits: dict[tuple[str, str], list[tuple[datetime, str]]] = {}
    whose: dict[str, tuple[str, str]] = {}
    for one in record.log.of_kinds(["JobOpened", "JobClosed", "JobReopened"]):
        match one.event:
            case JobOpened() as event if event.serial and event.machine_id == job.opened.machine_id:
                whose[one.job] = (event.maker.casefold(), event.serial.casefold())
                visits.setdefault(whose[one.job], []).append((one.server_time, "came"))
            case JobClosed() as event if one.job in whose:
                left = event.outcome.strip().lower()
                visits[whose[one.job]].append((one.server_time, left))
            case JobReopened() if one.job in whose:
                visits[whose[one.job]].append((one.server_time, "came"))
    return years_after_repair([s for moves in visits.values() for s in _spells(moves, now)])


def _spells(moves: list[tuple[datetime, str]], now: datetime) -> list[Spell]:
    found: list[Spell] = []
    since: datetime | None = None
    for at, what in sorted(moves):
        if what == "came" and since is not None:
            found.append(Spell(_days(since, at), True))
        since = at if what == REPAIRED else None
    if since is not None:
        found.append(Spell(_days(since, now), False))
    return found


def _days(start: datetime, end: datetime) -> float:
    return max((end - start).total_seconds() / 86_400, 0.0)


def age_words(job: Job, today: date) -> str:
    """ "bought 19 April 2024, 1.9 years old"; "" when no day is noted."""
    cover = job.paperwork.cover
    for text, verb in ((cover.purchased, "bought"), (cover.made, "made")):
        try:
            then = date.fromisoformat(text)
        except ValueError:
            continue
        if then <= today:
            years = (today - then).days / DAYS_OF_A_YEAR
            return f"{verb} {day(then)}, {years:.1f} years old"
    return ""
