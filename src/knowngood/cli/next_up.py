"""``knowngood job next``: which machine to take next."""

from __future__ import annotations

import json
from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.places.next_up import next_up
from knowngood.places.record import Record


def next_jobs(store: Path, minutes_a_day: float, json_out: bool) -> int:
    """Print jobs that can go on now, in order; exit code."""

    def work() -> None:
        with Record.open(store, make=False) as record:
            found = next_up(record, moment(), minutes_a_day)
        if json_out:
            print(json.dumps([
                {"job": n.job.id, "words": n.job.words, "minutes": round(n.job.minutes, 1),
                 "done_after": round(n.finish, 1), "why": n.why}
                for n in found
            ], indent=1))  # fmt: skip
            return
        for place, one in enumerate(found, 1):
            print(f"{place}. {one.job.words}: about {one.job.minutes:.0f} min. {one.why}")
        if not found:
            print("No machine can go on now.")

    return said(work)
