"""The estimate or invoice of a job as a document, from what was written down."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from knowngood.documents.bill import Customer, bill_document
from knowngood.documents.document import Document
from knowngood.documents.wording import day_of
from knowngood.job.job import Job
from knowngood.job.paperwork import CustomerAgreed
from knowngood.job.plain import Stamp
from knowngood.places.account import Account, account_of, payments_of
from knowngood.places.life import age_words
from knowngood.places.paperwork import money_of
from knowngood.places.premises import letterhead
from knowngood.places.record import Record, Refused


def bill_paper(record: Record, job: Job, now: datetime) -> Document:
    """An estimate while the job is open, an invoice of that day once it is closed. Refused without
    an estimate, and where the total is above what the customer agreed to."""
    account = account_of(record, job)
    if account is None:
        raise Refused("there is no estimate on this job yet, so there is nothing to print")
    final = job.closed is not None
    if final and not account.gate.open:
        raise Refused(f"no invoice yet: {account.gate.sentence}")
    opened = job.opened
    named = f"{opened.maker} {opened.model}".strip() if opened else ""
    agreed = [
        f"{one.who} said no on {day_of(at)}, {one.how}." if one.said_no else
        f"{one.who} agreed to {money_of(one.up_to, one.currency)} on {day_of(at)}, {one.how}."
        for one, at in _agreed(job, account.estimate.taxed.gross.currency)
    ]
    return bill_document(
        job.name, final,
        Customer(
            opened.customer if opened else "", named or job.counter.words,
            opened.serial if opened else "", opened.customer_words if opened else "",
        ),
        account.bill if final else account.estimate, letterhead(record), now, payments_of(job),
        agreed, account.bad_case,
        _worthwhile(job, account, now),
        None if job.closed is None else job.closed.at.device_time.date(),
    )  # fmt: skip


def _agreed(job: Job, currency: str) -> Sequence[tuple[CustomerAgreed, Stamp]]:
    """The customer's word that holds: the last one in the money of the estimate. What it replaced
    stays in the record and is no part of the paper."""
    return [one for one in job.paperwork.agreed if one[0].currency == currency][-1:]


def _worthwhile(job: Job, account: Account, now: datetime) -> str:
    if account.worthwhile is None:
        return ""
    age = age_words(job, now.date())
    return f"{account.worthwhile.sentence}; this one was {age}" if age else (
        account.worthwhile.sentence
    )
