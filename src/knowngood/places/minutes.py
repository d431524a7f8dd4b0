"""Minutes of work by the clock: from one entry to the next, shared by what was done between."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from knowngood.job.events import Event, MinutesNoted
from knowngood.job.job import Job
from knowngood.places.record import At

TOO_SHORT = 0.25  # of the reckoned minutes: entered afterwards, in one go
TOO_LONG = 4.0  # times the reckoned minutes and ten more: something else was done in between
SPARE = 10.0


def minutes_by_clock(job: Job, planned: Mapping[str, float], at: At) -> list[Event]:
    """`MinutesNoted` for each thing done since the last entry of the job, in proportion to its
    reckoned minutes; none when the clock tells nothing (another day, a break, typed in one go)."""
    if job.last is None or not planned:
        return []
    passed: timedelta = (at.device_time or at.now) - job.last.device_time
    minutes = passed.total_seconds() / 60
    reckoned = sum(planned.values())
    if reckoned <= 0 or not TOO_SHORT * reckoned <= minutes <= TOO_LONG * reckoned + SPARE:
        return []
    share = minutes / reckoned
    return [
        MinutesNoted(what, round(each * share, 1), measured=True)
        for what, each in planned.items()
        if each > 0
    ]
