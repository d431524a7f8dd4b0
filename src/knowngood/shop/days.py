"""Dates as papers count them.

A period of months ends on the day of the same number, or on the last day of the month where there
is none: Regulation (EEC, Euratom) 1182/71, article 3(2)(c). A period of days does not count the day
of the event: article 3(1). Where a programme or a law counts otherwise, theirs goes first.
"""

from __future__ import annotations

import calendar
from datetime import date, timedelta

LONGEST = 1200  # months; no cover lasts a century


def after_months(start: date, months: int) -> date:
    """The last day of a period of so many months from `start`.

    Raises ValueError below 0, above `LONGEST`, or past the year 9999.
    """
    if not 0 <= months <= LONGEST:
        raise ValueError(f"{months} months; give 0 to {LONGEST}")
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(start.day, last))


def after_days(start: date, days: int) -> date:
    """The last day of a period of so many days after `start`. Raises ValueError below 0."""
    if days < 0:
        raise ValueError(f"{days} days; give 0 or more")
    return start + timedelta(days=days)


def days_between(now: date, then: date) -> str:
    """ "in 3 days", "today", "2 days ago": from `now` to `then`."""
    gap = (then - now).days
    if gap == 0:
        return "today"
    count = f"{abs(gap)} day{'' if abs(gap) == 1 else 's'}"
    return f"in {count}" if gap > 0 else f"{count} ago"
