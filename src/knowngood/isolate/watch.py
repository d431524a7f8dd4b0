"""A deadline that has begun."""

from __future__ import annotations

import time
from collections.abc import Callable


class Watch:
    """``deadline`` seconds by ``clock`` (None: the wall's) from now on; None: no limit."""

    def __init__(self, deadline: float | None, clock: Callable[[], float] | None = None) -> None:
        self.clock = clock or time.perf_counter
        self._deadline, self._started = deadline, self.clock()

    def left(self, after: float, least: float) -> float | None:
        """Seconds left, without the share ``after`` that is kept for what comes then; the share
        ``least`` of the deadline at least."""
        if self._deadline is None:
            return None
        gone = self.clock() - self._started
        return max((1.0 - after) * self._deadline - gone, least * self._deadline)
