"""What the papers of all jobs wait for: claims, answers, money, parts to keep."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from knowngood.job.job import Job, replay
from knowngood.job.paperwork import ClaimSent
from knowngood.places.account import account_of
from knowngood.places.days import day_of
from knowngood.places.due import SOON, Due
from knowngood.places.failed_part import failed_part
from knowngood.places.paperwork import ClaimPage, claim_page
from knowngood.places.record import Record, Refused
from knowngood.places.shelf_due import closed_due, shelf_due
from knowngood.places.stockroom import room_of
from knowngood.shop.days import days_between
from knowngood.shop.money import MoneyProblem
from knowngood.store.problem import StoreProblem

PAPERS: Final = ("ProgrammeChosen", "EstimateMade", "PartTagged")
LATE_CLAIM: Final = 60  # days after its last day that no claim was sent; common practice


def papers_due(record: Record, today: date) -> tuple[Due, ...]:
    """Every paper that waits: what is late first, then by last day."""
    found: list[Due] = []
    for job_id in record.log.jobs_with(PAPERS):
        job = replay(record.log.events(job_id))
        found += _of_claim(record, job, today)
        found += _of_part(record, job, today)
        found += _of_customer(record, job, today)
    found += _late_orders(record, today)
    found += shelf_due(record, today)
    found += closed_due(record, today)
    return tuple(sorted(found, key=lambda d: (not d.late, d.by or date.max, d.number)))


def _of_claim(record: Record, job: Job, today: date) -> list[Due]:
    if job.paperwork.programme is None:
        return []
    try:
        page = claim_page(record, job.id, today)
    except (Refused, StoreProblem) as problem:  # such as a labour code that the programme lacks
        return [Due(job.id, job.name, f"its claim cannot be worked out: {problem}", None, True)]
    sent = [m for m in job.paperwork.moves if isinstance(m, ClaimSent)]
    due: list[Due] = []
    closing, is_open = page.cover.claim_by, job.closed is None and job.decision is None
    if is_open and not sent and closing is not None and closing < today + timedelta(days=SOON):
        words = "the days for its claim run out, and no part is decided yet"
        due.append(Due(job.id, job.name, words, closing, True))
    if job.decision is not None and not sent and page.cover.answer != "not covered":
        by = page.cover.claim_by
        lacks = tuple(x.words for x in page.lacks)
        late = by is not None and by < today + timedelta(days=SOON)
        due.append(Due(job.id, job.name, "send the claim", by, late, "", lacks))
    elif job.decision is not None and not sent and _only_late(page, today, job.closed is None):
        words = "no claim was sent in time: ask the programme all the same, or tell the customer"
        due.append(Due(job.id, job.name, f"{words}; its last day was", page.cover.claim_by, True))
    if sent and page.course.granted is None:
        due.append(Due(job.id, job.name, f"claim {page.course.words}", None, False))
    elif page.course.owed.amount > 0:
        words = f"{page.course.owed} of the programme is not here yet"
        due.append(Due(job.id, job.name, words, None, False))
    return due


def _only_late(page: ClaimPage, today: date, is_open: bool) -> bool:
    """Nothing but the claim's last day stands against it; of a closed job it is said for a time."""
    by = page.cover.claim_by
    if by is None or not by < today or len(page.cover.reasons) != 1:
        return False
    return is_open or (today - by).days <= LATE_CLAIM


def _of_part(record: Record, job: Job, today: date) -> list[Due]:
    """The failed part: to be tagged, kept, or free to go. Without a programme it is the shop's own
    days that count, and only a part that was tagged."""
    if job.closed is None or not job.machine_digest:
        return []
    try:
        failed = failed_part(record, job, today)
    except (Refused, StoreProblem) as problem:  # such as a machine file that cannot be read
        return [Due(job.id, job.name, f"its failed part: {problem}", None, False)]
    if failed is None or failed.gone is not None or failed.until is None:
        return []
    if failed.tag is None and job.paperwork.programme is None:
        return []
    named = f"failed part ({failed.words})"
    if failed.may_go(today):
        words = "hand it over for disposal" if failed.care else "it may be scrapped"
        return [Due(job.id, job.name, f"{named}: {words}, its day was", failed.until, False)]
    if failed.tag is None:
        words = f"{named} has no tag: tag it and keep it"
        late = failed.until < today + timedelta(days=SOON)
        return [Due(job.id, job.name, words, failed.until, late)]
    if failed.until < today:
        words = f"{named}: keep it, its claim is not answered; its day was"
        return [Due(job.id, job.name, words, failed.until, False)]
    return [Due(job.id, job.name, f"{named}: keep it", failed.until, False)]


def _late_orders(record: Record, today: date) -> list[Due]:
    """Orders of the stockroom whose day has passed."""
    late = []
    for order in room_of(record).orders.values():
        expected = day_of(order.expected)
        if order.open and expected is not None and expected < today:
            count = sum(order.open.values())
            words = f"{count} part{'' if count == 1 else 's'} of {order.supplier} not here"
            late.append(Due("", f"order {order.order}", words, expected, True))
    return late


def _of_customer(record: Record, job: Job, today: date) -> list[Due]:
    try:
        account = account_of(record, job)
    except MoneyProblem as problem:
        return [Due(job.id, job.name, f"its account cannot be worked out: {problem}", None, True)]
    if account is None:
        return []
    if account.trouble:
        return [Due(job.id, job.name, account.trouble, None, True)]
    if not account.gate.open and job.closed is None:
        at = job.paperwork.estimated_at
        since = at.server_time.date() if at else today
        asked = account.gate.sentence if job.paperwork.agreed else str(account.bill.taxed.gross)
        if job.paperwork.agreed and job.paperwork.agreed[-1][0].said_no:
            return [Due(job.id, job.name, asked, None, False)]
        words = f"nobody has agreed yet, estimate of {days_between(today, since)}: {asked}"
        return [Due(job.id, job.name, words, None, (today - since).days >= SOON)]
    if job.closed is not None and account.bill.left.amount:
        left = account.bill.left
        who = f"the customer owes {left}" if left.amount > 0 else f"{-left} goes back"
        why = "" if account.gate.open else f"; no invoice yet: {account.gate.sentence}"
        return [Due(job.id, job.name, f"{who}{why}", None, False)]
    return []
