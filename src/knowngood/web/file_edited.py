"""On the phone: that a job's machine file was edited since, and what the person makes of it."""

from __future__ import annotations

import os
from typing import Any

from knowngood.job.job import Job
from knowngood.places.from_file import file_now, stay, take_newer
from knowngood.places.gather import View, load_job, view_of
from knowngood.places.record import At, Record, Refused
from knowngood.web.takers import TAKERS, Body

LOST = "Its test is not in the machine file as it is now: a note that counts for nothing."


def file_edited(job: Job) -> dict[str, Any] | None:
    """What has become of the file, and whether it can be taken as it is now; None where it is as
    it was, or the job is closed."""
    now = file_now(job) if job.closed is None else None
    if now is None or not now.said:
        return None
    return {"words": f"The machine file {os.path.basename(now.path)}: {now.said}.",
            "can": not now.trouble}  # fmt: skip


def _answered(record: Record, job: str, body: Body, at: At) -> View:
    """Raises Refused where `take` is no yes or no, and with every problem of the file."""
    take = body.get("take")
    if not isinstance(take, bool):
        raise Refused("take should be true (the file as it is now) or false (as it was)")
    if take:
        return take_newer(record, job, at).view
    stay(record, job, at)
    return view_of(record, load_job(record, job))


TAKERS["NewerFile"] = _answered
