"""The figures of the shop, from its record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from knowngood.job.events import DecisionWithdrawn, Envelope, PartDecided
from knowngood.job.job import Job, replay
from knowngood.job.paperwork import ClaimSent
from knowngood.job.shelf import PartArrived, PartOrdered
from knowngood.places.account import account_of
from knowngood.places.claims import AGE_NAMES, age_of, all_claims, owed_by_age
from knowngood.places.paperwork import claim_page
from knowngood.places.part_price import part_price
from knowngood.places.premises import the_shop
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop.figures import REPAIRED, Figure, JobFacts, Month, by_month, figures
from knowngood.shop.money import Money, MoneyProblem
from knowngood.store.problem import StoreProblem


@dataclass(frozen=True, slots=True)
class ShopTables:
    """The figures of the whole time, and month by month; claims owed on its last day by age as
    figures of their own, a currency and an age each."""

    first: date
    last: date
    whole: tuple[Figure, ...]
    months: tuple[Month, ...]
    owed: tuple[Figure, ...]

    def rows(self) -> list[tuple[object, ...]]:
        """The figures of the whole time as cells."""
        return [(f.name, f.value, f.unit, f.of, f.how) for f in (*self.whole, *self.owed)]

    def month_rows(self) -> list[tuple[object, ...]]:
        """A line for each month and figure."""
        return [(m.first, m.last, f.name, f.value, f.unit, f.of)
                for m in self.months for f in m.figures]  # fmt: skip


COLUMNS: Final = ("figure", "value", "unit", "of jobs", "how")
MONTH_COLUMNS: Final = ("first day", "last day", "figure", "value", "unit", "of jobs")
FIRST_TIME: Final = date(1970, 1, 1)


def shop_figures(record: Record, first: date, last: date) -> tuple[Figure, ...]:
    """Figures of the jobs closed from `first` to `last`."""
    return shop_tables(record, first, last).whole


def shop_tables(record: Record, first: date, last: date) -> ShopTables:
    """The figures of this time; reads every job of the record once. Raises Refused."""
    if last < first:
        raise Refused(f"{first} is after {last}; turn the two around")
    first = max(first, FIRST_TIME)
    facts, currency = list[JobFacts](), the_shop(record).currency
    for row in record.log.jobs():
        events = record.log.events(row.job)
        job = replay(events)
        facts.append(facts_of(record, job, events, currency))
    return ShopTables(
        first, last, figures(facts, first, last, currency),
        by_month(facts, first, last, currency), _owed(record, last),
    )  # fmt: skip


def _owed(record: Record, last: date) -> tuple[Figure, ...]:
    lines = tuple(line for line in all_claims(record) if line.sent <= last and line.owed > 0)
    ages = owed_by_age(lines, last)
    return tuple(
        Figure(f"claims owed, {age}", float(ages[currency].get(age, 0)), currency,
               sum(line.currency == currency and age_of(line, last) == age for line in lines),
               f"sent so long before {last}, not paid yet")
        for currency in sorted(ages) for age in AGE_NAMES
    )  # fmt: skip


def facts_of(record: Record, job: Job, events: list[Envelope], currency: str) -> JobFacts:
    """What one job tells; the prices of wrong parts in `currency`."""
    wrong = [_price(record, job, part, currency) for part in _wrong(events)]
    came = job.opened_at or job.last
    assert came is not None
    gone = job.counter.handed_at
    comeback, (sold, why_none) = job.counter.comeback, _sold(record, job)
    return JobFacts(
        job.id,
        came.device_time.date(),
        job.closed.at.device_time.date() if job.closed else None,
        job.closed.outcome.strip().lower() if job.closed else "",
        comeback.job if comeback else "",
        sum(job.minutes_by_step().values()),
        sold,
        sum((amount for amount, _ in wrong), Decimal(0)),
        sum(example for _, example in wrong),
        why_none,
        gone.device_time.date() if gone is not None and job.counter.handed is not None else None,
    )


def _sold(record: Record, job: Job) -> tuple[float | None, str]:
    """Minutes that the labour of a repair agreed to comes to, or of a claim sent as far as it was
    granted, at the shop's own rate; None where there is such money and no rate is set in its
    currency. Where there is none: 0, and why."""
    found, rate = _labour(record, job), rate_of(record, job)
    if isinstance(found, str):
        claimed = _claimed(record, job)
        found = claimed if isinstance(claimed, Money) else claimed or found
    if isinstance(found, str):
        return 0.0, found
    if not rate.given or rate.currency not in ("", found.currency):
        return None, ""
    return float(found.amount / rate.amount) * 60.0, ""


def _labour(record: Record, job: Job) -> Money | str:
    """The labour of the estimate; else why none of it was sold."""
    made = job.paperwork.estimate
    if made is None:
        return "without an estimate or a claim sent"
    if job.closed is None or job.closed.outcome.strip().lower() != REPAIRED:
        return f"not closed as {REPAIRED}"
    try:
        account = account_of(record, job)
    except MoneyProblem:
        return "with two currencies"
    if account is None or not (account.gate.open or account.bill.left.amount <= 0):
        return "that nobody agreed to or paid"
    lines = (line for line in made.lines["lines"] if line["kind"] == "labour")
    sum_ = sum((Decimal(line["price"]) * Decimal(line["count"]) for line in lines), Decimal(0))
    return Money(sum_, made.currency) if sum_ else "without labour on the estimate"


def _claimed(record: Record, job: Job) -> Money | str:
    """What was granted of a claim's labour; else why none was, "" where no claim went out."""
    if job.last is None or not any(isinstance(m, ClaimSent) for m in job.paperwork.moves):
        return ""
    try:
        page = claim_page(record, job.id, job.last.device_time.date())
    except (Refused, StoreProblem):
        return "whose programme or machine file is not here"
    worth, how = page.worth, page.course
    if worth is None:
        return "with a claim for no part"
    money = worth.labour + worth.diagnosis
    if not money.amount:
        return "whose programme pays no labour"
    if how.granted is not None and how.asked.amount:
        money = money.times(how.granted.amount / how.asked.amount)
    return money if money.amount else "with a claim of which nothing was granted"


def _wrong(events: list[Envelope]) -> list[PartDecided]:
    """Parts that were ordered or came for this job and were given up for another, or withdrawn."""
    found, standing = list[PartDecided](), None
    bought = {e.event.part for e in events if isinstance(e.event, PartOrdered | PartArrived)}
    for event in (e.event for e in events):
        if isinstance(event, PartDecided):
            if standing is not None and standing.part != event.part:
                found.append(standing)
            standing = event
        elif isinstance(event, DecisionWithdrawn) and standing is not None:
            found.append(standing)
            standing = None
    stands = standing.part if standing is not None else ""  # it was the right one after all
    return [one for one in found if one.part in bought and one.part != stands]


def _price(record: Record, job: Job, part: PartDecided, currency: str) -> tuple[Decimal, bool]:
    """What a part costs by an order or a list, and whether it is only the file's example."""
    known = part_price(record, job, part.part, part.words, part.number, currency)
    if not known.note:
        return known.amount, False
    example = part.proof.get("part_price", 0)
    amount = Decimal(str(example)) if isinstance(example, int | float) else Decimal(0)
    return amount, bool(amount)
