"""A closed job's machine is fetched, as a terminal says it: who took it, what stays here."""

from __future__ import annotations

from collections.abc import Sequence

from knowngood.job.counter import HandedBack
from knowngood.job.job import Job
from knowngood.places.account import account_of
from knowngood.places.counter import hand_back, holds, machine_of, override_hold, pack_words
from knowngood.places.gather import load_job
from knowngood.places.record import At, Record, Refused
from knowngood.places.slips import handed_words


def pickup_lines(record: Record, job: Job) -> list[str]:
    """How the pickup stands: handed back to whom, or what holds it, what goes along, what is owed
    and how it is said that it was fetched."""
    found = []
    account = account_of(record, job)
    left = account.bill.left if account is not None else None
    owed = [f"left to pay: {left}"] if left is not None and left.amount > 0 else []
    if job.counter.handed is not None:
        stays = job.counter.handed.stays
        kept = [f"stays here: {'; '.join(stays)}"] if stays else []
        return [f"handed back {handed_words(job)}", *kept, *owed]
    if job.closed is None:
        found.append("not closed yet: knowngood bench --job " + job.name)
    found += [f"holds it: {one}" for one in holds(machine_of(record, job), job)]
    things = _along(job)
    found += [f"goes along: {'; '.join(things)}"] if things else []
    return [*found, *owed] or ["nothing holds it"]


def fetched(
    record: Record, job_id: str, to: str, stays: Sequence[str], at: At, anyway: str = ""
) -> Job:
    """The customer has the closed job's machine and all that came along, but what `stays`: things
    or packs by their words or a part of them.
    `anyway`: the reason why it goes although something holds it. Raises Refused."""
    job = load_job(record, job_id)
    if job.closed is None:
        raise Refused(
            f"job {job.name} is not closed yet: knowngood bench --job {job.name}, then done "
            "repaired or done returned unrepaired"
        )
    left = _named(job, stays)
    goes = job.counter.handed is None and to.strip() and anyway.strip()
    if goes and holds(machine_of(record, job), job):
        override_hold(record, job_id, "" if at.by == "somebody" else at.by, anyway, at)
    things = tuple(one for one in job.counter.accessories if one not in left)
    packs = tuple(p.pack for p in job.counter.packs if pack_words(p) not in left)
    hand_back(record, job_id, HandedBack(to, "", things, packs), "", at)
    return load_job(record, job_id)


def _along(job: Job) -> list[str]:
    return [*job.counter.accessories, *(pack_words(p) for p in job.counter.packs)]


def _named(job: Job, stays: Sequence[str]) -> list[str]:
    found = []
    for words in stays:
        wanted = words.strip().casefold()
        fits = [one for one in _along(job) if wanted and wanted in one.casefold()]
        if not fits:
            there = "; ".join(_along(job)) or "nothing came along"
            raise Refused(f"nothing that came along is called {words!r}. There is: {there}")
        found += fits
    return found
