"""Release checks that are still blank when a claim goes out: said, and nothing is held for it."""

from __future__ import annotations

from knowngood.job.job import Job
from knowngood.places.ends import unrepaired
from knowngood.places.gather import machine_file_of
from knowngood.places.record import Record
from knowngood.shop.release import release_of_job


def checks_blank(record: Record, job: Job) -> str:
    """ "12 of 13 release checks (page one says so; release asks them)"; "" when none is blank,
    before a part is decided on, and for a machine that ended without its repair."""
    ended = job.closed is not None and unrepaired(job.closed.outcome)
    if job.decision is None or not job.machine_digest or ended:
        return ""
    release = release_of_job(machine_file_of(record, job), job)
    blank, all_ = len(release.blank), len(release.checks)
    if not blank:
        return ""
    checks = "check" if all_ == 1 else "checks"
    return f"{blank} of {all_} release {checks} (page one says not done yet; release asks them)"
