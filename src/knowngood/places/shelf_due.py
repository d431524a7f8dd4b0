"""What waits on the shelf for somebody outside: parts, answers, and machines never collected."""

from __future__ import annotations

from collections.abc import Container
from datetime import date
from typing import Final

from knowngood.job.counter import PaymentNoted
from knowngood.job.job import Job, replay
from knowngood.places.account import account_of
from knowngood.places.counter import holds, machine_of, not_fetched
from knowngood.places.days import day_of
from knowngood.places.due import SOON, UNCOLLECTED, Due
from knowngood.places.premises import the_shop
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import room_of
from knowngood.shop.days import days_between
from knowngood.shop.supersession import same_number
from knowngood.store.problem import StoreProblem
from knowngood.store.rows import JobSummary

NOT_FETCHED: Final = 7  # days, where the shop's sheet names none; common practice
NOTE_PAID: Final = 30  # days for which a repair without any payment noted is said; common practice
AT_COUNTER: Final = ("CheckedIn", "ContactNoted", "AccessoriesNoted", "PackTaken", "PaymentNoted",
                     "HoldOverridden", "ComebackLinked")  # fmt: skip


def shelf_due(record: Record, today: date) -> list[Due]:
    """Open jobs whose part is late, whose customer has not answered, or that are ready and not
    fetched; all of them, however many there are."""
    found: list[Due] = []
    rows = record.log.waiting(max(record.log.count_open(), 1))
    by_order = {
        (job, line["key"]) for order in room_of(record).orders.values()
        for line in order.lines if order.open.get(line["key"]) for job in line.get("jobs", ())
    }  # fmt: skip
    for row in rows:
        if row.waits == "part":
            found += _late_parts(replay(record.log.events(row.job)), today, by_order)
        elif row.waits == "answer":
            found.append(_unanswered(replay(record.log.events(row.job)), row.what, row.own, today))
        elif row.waits == "ready":
            since = day_of(row.since)
            days = (today - since).days if since else 0
            if days >= fetch_days(record):
                found += _ready(record, replay(record.log.events(row.job)), days)
    return found


def closed_due(record: Record, today: date) -> list[Due]:
    """Closed jobs whose machine is still here, and repairs of which no payment is known."""
    found = []
    here, unpaid = _over_the_counter(record), _said_unpaid(record)
    for row in record.log.closed(max(len(record.log.jobs()), 1)):
        lately = (today - row.last_at.date()).days < NOTE_PAID
        if not (row.job in here or row.job in unpaid or lately):
            continue
        job = replay(record.log.events(row.job))
        if job.closed is None:
            continue
        days = (today - job.closed.at.server_time.date()).days
        if days >= fetch_days(record) and not_fetched(job):
            found.append(_uncollected(job, f"not fetched for {days} days"))
        found += _not_paid(record, job, job.closed.outcome, days)
    return found


def still_here(record: Record) -> list[JobSummary]:
    """Closed jobs that came over the counter and nobody has fetched yet, the latest first."""
    here = _over_the_counter(record)
    rows = record.log.closed(max(len(record.log.jobs()), 1)) if here else []
    return [row for row in rows
            if row.job in here and not_fetched(replay(record.log.events(row.job)))]  # fmt: skip


def _over_the_counter(record: Record) -> set[str]:
    """Jobs that came over the counter and were not handed back over it."""
    gone = set(record.log.jobs_with(("HandedBack",)))
    gone -= set(record.log.jobs_with(("HandBackWithdrawn",)))
    return set(record.log.jobs_with(AT_COUNTER)) - gone


def fetch_days(record: Record) -> int:
    """Days after which a machine that is done is said again: the shop's rule, else the usual."""
    return round(the_shop(record).fetch_days) or NOT_FETCHED


def _late_parts(job: Job, today: date, by_order: Container[tuple[str, str]]) -> list[Due]:
    """Parts noted on the job alone; those of an order in the stockroom are said with it."""
    found = []
    for order in job.shelf.on_order:
        if (job.id, same_number(order.number)) in by_order:
            continue
        expected = day_of(order.expected.strip()[:10]) if order.expected else None
        whose = f" of {order.supplier}" if order.supplier else ""
        if expected is not None and expected < today:
            words = f"{order.words}{whose} is not here: call the supplier; its day was"
            found.append(Due(job.id, job.name, words, expected, True))
        elif expected is None:
            since = order.at.server_time.date()
            if (today - since).days >= SOON:
                words = f"{order.words}{whose} ordered {days_between(today, since)}"
                words += ", no day given: ask the supplier for one"
                found.append(Due(job.id, job.name, words, None, False))
    return found


def _unanswered(job: Job, question: str, own: str, today: date) -> Due:
    by, asked = day_of(own) if own else None, job.shelf.asked
    since = asked.server_time.date() if asked else today
    late = by < today if by else (today - since).days >= SOON
    words = f"asked {days_between(today, since)}, no answer yet: {question}"
    return Due(job.id, job.name, words, by, late)


def _ready(record: Record, job: Job, days: int) -> list[Due]:
    """Checked, in one piece, and nobody came; what a check still holds is the shelf's to say."""
    try:
        machine = machine_of(record, job)
    except (Refused, StoreProblem):
        return []  # its machine file is not here; the shelf says so
    if holds(machine, job):
        return []
    return [_uncollected(job, f"ready, not fetched for {days} days")]


def _uncollected(job: Job, words: str) -> Due:
    """When that is too long is the shop's rule and the local law's, not ours."""
    terms = f" ({job.counter.storage})" if job.counter.storage else ""
    return Due(job.id, job.name, f"{words}{terms}", None, False, UNCOLLECTED)


def _said_unpaid(record: Record) -> set[str]:
    last = {e.job: e.event for e in record.log.of_kinds(("PaymentNoted", "PaymentWithdrawn"))}
    return {job for job, event in last.items()
            if isinstance(event, PaymentNoted) and event.paid == "not paid"}  # fmt: skip


def _not_paid(record: Record, job: Job, outcome: str, days: int) -> list[Due]:
    """Repaired for a customer without an estimate, and no payment was noted at the counter."""
    if outcome != "repaired" or account_of(record, job) is not None:
        return []
    paid = job.counter.payment.paid if job.counter.payment else ""
    if paid == "not paid":
        return [Due(job.id, job.name, "the customer has not paid", None, days >= SOON)]
    if not paid and job.paperwork.programme is None and days < NOTE_PAID:
        words = "repaired, no payment noted: note it at pickup"
        return [Due(job.id, job.name, words, None, False)]
    return []
