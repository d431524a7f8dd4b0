"""Whether a pack of this job may catch fire, by the counter's sheet and by what the bench saw."""

from __future__ import annotations

from typing import Any

from knowngood.job.counter import Counter
from knowngood.job.job import Job

AT_THE_COUNTER = "seen at the counter"
"""How a reason begins that the bench has from the counter's sheet."""


def unsafe_words(job: Job) -> str:
    """What is wrong with a pack that must be left alone, "swollen, hot"; "" for none, and once the
    machine went out with its packs."""
    it, gone = job.counter, job.counter.handed
    if gone is not None:
        words = [word for p in it.unsafe_packs if p.pack not in gone.packs for word in p.trouble]
        return ", ".join(dict.fromkeys(words))
    if job.closed is not None and it == Counter():
        return ""
    words = [word for p in it.unsafe_packs for word in p.trouble]
    return ", ".join(dict.fromkeys([*words, *_seen_at_the_bench(job)]))


def _seen_at_the_bench(job: Job) -> list[str]:
    """Reasons the bench showed, as they were shown with the readings that stand. Each belongs to
    the reading at which it came up, and goes with it."""
    found: list[str] = []
    before: set[str] = set()
    for reading in job.readings:
        if reading.judged is None:
            continue
        shown: list[dict[str, Any]] = list(reading.shown.get("unsafe", ()))
        new = [str(one["why"]) for one in shown if one["part"] not in before]
        before = {str(one["part"]) for one in shown}
        if reading.live:
            found += [why for why in new if not why.startswith(AT_THE_COUNTER)]
    return found
