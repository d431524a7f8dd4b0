"""Minutes of work by the entries of one person: what lies close together is work, gaps are not."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import pairwise
from typing import Final

IDLE: Final = 10.0
"""Minutes without an entry after which the person was elsewhere; common practice, a shop's own."""
LONG: Final = 3.0
"""A step that is reckoned long may take so many times its minutes between two entries."""


def worked(times: Iterable[datetime], idle: float = IDLE, reckoned: float = 0.0) -> float:
    """Minutes of work between the first and the last of these entries, in whatever order.

    A stretch longer than ``idle`` minutes, and longer than LONG times what the step is reckoned
    to take, is a gap and counts nothing.
    """
    allowed = max(idle, LONG * reckoned)
    total = 0.0
    for before, after in pairwise(sorted(times)):
        minutes = (after - before).total_seconds() / 60
        if minutes <= allowed:
            total += minutes
    return total
