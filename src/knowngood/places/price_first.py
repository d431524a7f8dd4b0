"""Before a part is ordered: is a price agreed, and what makes one; what the claim still lacks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from knowngood.documents.wording import listed
from knowngood.job.job import Job
from knowngood.job.paperwork import ClaimSent
from knowngood.places.account import account_of
from knowngood.places.paperwork import claim_page, cover_of
from knowngood.places.record import Record, Refused

AFTER = frozenset({"part_kept", "part_price", "codes"})  # come with the order, or after it
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
    """None where the customer's word covers the price, or a programme's cover may apply and its
    claim lacks nothing that can be had before the order."""
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
        return _claim_first(record, job, today)
    sentence = f"{cover.sentence}: {PAYS}" if cover else f"{PAYS[:1].upper()}{PAYS[1:]}"
    if job.machine_digest:
        key, address = "Make the estimate from the plan", f"{papers}?from=plan#write"
    else:
        key, address = "Write an estimate", f"{papers}#write"
    return PriceFirst(sentence, key, address, False)


def _claim_first(record: Record, job: Job, today: date) -> PriceFirst | None:
    """What the claim lacks while it can still be had, and what that puts at risk."""
    if job.decision is None:
        return None
    try:
        page = claim_page(record, job.id, today)
    except Refused:
        return None  # the papers say what cannot be worked out
    lacks = [lack for lack in page.lacks if lack.id not in AFTER]
    if not lacks or any(isinstance(move, ClaimSent) for move in job.paperwork.moves):
        return None
    named = listed([f"{lack.words} ({lack.fix})" for lack in lacks])
    risk = f"; {lacks[0].at_risk} at risk for it" if lacks[0].at_risk.amount else ""
    return PriceFirst(f"the claim lacks {named}{risk}", "Complete the claim",
                      f"/job/{job.id}/papers#claim", False)  # fmt: skip
