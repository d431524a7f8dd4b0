"""Before a part is ordered for a customer who pays: is a price agreed, and what makes one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from knowngood.job.job import Job
from knowngood.places.account import account_of
from knowngood.places.paperwork import cover_of
from knowngood.places.record import Record

PAYS = "the customer pays, and no price is agreed yet"


@dataclass(frozen=True, slots=True)
class PriceFirst:
    """What is to be asked. `key` leads to `address`; `stops`: ordering is stopped until then,
    unless a person takes it on with a reason."""

    sentence: str
    key: str
    address: str
    stops: bool


def price_first(record: Record, job: Job, today: date) -> PriceFirst | None:
    """None where a programme's cover may apply, or the customer's word covers the price."""
    account, papers = account_of(record, job), f"/job/{job.id}/papers"
    if account is not None:
        if account.gate.open:
            return None
        return PriceFirst(account.gate.sentence, "What does the customer say?", f"{papers}#agree",
                          True)  # fmt: skip
    cover = cover_of(record, job, today)
    if cover is not None and cover.answer == "needs approval":
        return PriceFirst(cover.sentence, "Note the programme's word", f"{papers}#approved", False)
    if cover is not None and cover.answer != "not covered":
        return None
    sentence = f"{cover.sentence}: {PAYS}" if cover else f"{PAYS[:1].upper()}{PAYS[1:]}"
    if job.machine_digest:
        key, address = "Make the estimate from the plan", f"{papers}?from=plan#write"
    else:
        key, address = "Write an estimate", f"{papers}#write"
    return PriceFirst(sentence, key, address, False)
