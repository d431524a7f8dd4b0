"""``knowngood job next``: which machine to take next."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.cli.to_read import to_read
from knowngood.places.next_up import next_up, not_weighed, shared_out


def next_jobs(
    store: Path, minutes_a_day: float, json_out: bool, people: Sequence[str] = ()
) -> int:
    """Print jobs that can go on now, in order, or shared out among people; exit code."""

    def shared() -> None:
        with to_read(store) as record:
            found = shared_out(record, moment(), people, minutes_a_day)
            jobs = [turn.job.id for turn in found.turns] + [job.id for job in found.left]
            left = not_weighed(record, jobs)
        if json_out:
            print(json.dumps({
                "exact": found.exact, "reason": found.reason,
                "left": [job.id for job in found.left],
                "turns": [
                    {"job": t.job.id, "words": t.job.words, "person": t.person,
                     "starts_after": round(t.start, 1), "done_after": round(t.finish, 1),
                     "why": t.why}
                    for t in found.turns
                ],
            }, indent=1))  # fmt: skip
            return
        if found.reason:
            print(f"{found.reason}: by the list rule")
        for name, turns in found.by_person.items():
            print(f"{name}:" + ("" if turns else " nothing for now"))
            for place, turn in enumerate(turns, 1):
                print(f"  {place}. {turn.job.words}: {turn.why}")
        for job in found.left:
            print(f"nobody named takes {job.words}")
        if left:
            print(left)

    def work() -> None:
        with to_read(store) as record:
            found = next_up(record, moment(), minutes_a_day)
            left = not_weighed(record, [one.job.id for one in found])
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
        if left:
            print(left)

    return said(shared if people else work)
