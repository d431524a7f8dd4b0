"""The figures of the shop, from its record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Final

from knowngood.job.events import DecisionWithdrawn, Envelope, PartDecided
from knowngood.job.job import Job, replay
from knowngood.job.paperwork import ClaimSent
from knowngood.places.claims import AGE_NAMES, age_of, all_claims, owed_by_age
from knowngood.places.paperwork import claim_page
from knowngood.places.premises import the_shop
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop.figures import Figure, JobFacts, Month, by_month, figures
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
    """Figures of the jobs handed back from `first` to `last`."""
    return shop_tables(record, first, last).whole


def shop_tables(record: Record, first: date, last: date) -> ShopTables:
    """The figures of this time; reads every job of the record once. Raises Refused."""
    if last < first:
        raise Refused(f"{first} is after {last}; turn the two around")
    first = max(first, FIRST_TIME)
    facts = []
    for row in record.log.jobs():
        events = record.log.events(row.job)
        job = replay(events)
        facts.append(replace(facts_of(job, events), sold=_sold(job) or _claimed(record, job)))
    currency = the_shop(record).currency
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


def facts_of(job: Job, events: list[Envelope]) -> JobFacts:
    """What one job tells."""
    came = job.opened_at or job.last
    assert came is not None
    comeback = job.counter.comeback
    return JobFacts(
        job.id,
        came.device_time.date(),
        job.closed.at.device_time.date() if job.closed else None,
        job.closed.outcome.strip().lower() if job.closed else "",
        comeback.job if comeback else "",
        sum(job.minutes_by_step().values()),
        _sold(job),
        _wrong(events),
    )


def _sold(job: Job) -> float:
    """Minutes of the labour lines of the estimate, at the job's own rate."""
    made, rate = job.paperwork.estimate, job.opened.rates.get("bench_rate") if job.opened else None
    if made is None or not isinstance(rate, int | float) or rate <= 0:
        return 0.0
    money = sum(
        Decimal(line["price"]) * Decimal(line["count"])
        for line in made.lines["lines"] if line["kind"] == "labour"
    )  # fmt: skip
    return float(money) / float(rate) * 60.0


def _claimed(record: Record, job: Job) -> float:
    """Minutes that a claim sent asks for, at the shop's own rate."""
    rate = rate_of(record, job)
    sent = any(isinstance(move, ClaimSent) for move in job.paperwork.moves)
    if not sent or not rate.given:
        return 0.0
    try:
        worth = claim_page(record, job.id, job.last.device_time.date()).worth if job.last else None
    except (Refused, StoreProblem):
        return 0.0  # its programme or machine file is not here
    return float((worth.labour + worth.diagnosis).amount / rate.amount) * 60.0 if worth else 0.0


def _wrong(events: list[Envelope]) -> Decimal:
    """Prices of parts that were decided on and given up for another, or withdrawn."""
    total, standing = Decimal(0), None
    for event in (e.event for e in events):
        if isinstance(event, PartDecided):
            if standing is not None and standing.part != event.part:
                total += _price(standing)
            standing = event
        elif isinstance(event, DecisionWithdrawn) and standing is not None:
            total, standing = total + _price(standing), None
    return total


def _price(decided: PartDecided) -> Decimal:
    price = decided.proof.get("part_price", 0)
    return Decimal(str(price)) if isinstance(price, int | float) else Decimal(0)
