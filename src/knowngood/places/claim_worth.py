"""What a claim should bring by its programme's rules, from the minutes and parts of the job."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from knowngood.job.job import Job
from knowngood.places.gather import setup_of
from knowngood.places.part_meant import parts_fitted
from knowngood.places.part_price import part_price
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop import claim_check
from knowngood.shop.claim_check import LABOUR_ONLY, Worth
from knowngood.shop.money import Money
from knowngood.shop.programme import Programme


def worth_of(record: Record, programme: Programme, job: Job) -> Worth:
    """Labour, diagnosis and parts of a job whose part is decided. Raises Refused."""
    rate, pays = rate_of(record, job), programme.currency
    other = rate.given and rate.currency not in ("", pays)
    machine = setup_of(record, job).machine
    named = {p.id: p.words for p in machine.parts}
    prices, unpriced, unread, only_labour = [], [], [], False
    for part, _, fitted in parts_fitted(job):
        words = named.get(part, part).lower()
        found = part_price(record, job, part, words, fitted.number, programme.currency)
        if found.note:
            unpriced.append((words, found))
            unread += [] if fitted.number else [words]
        elif found.source == LABOUR_ONLY:
            only_labour = True
        else:
            prices.append(found)
    tests = {test.id for test in machine.tests}
    finding = repair = measured = Decimal(0)
    by_clock = job.clocked_by_step()
    for what, spent in job.minutes_by_step().items():
        if what.removeprefix("test ") in tests:
            finding += Decimal(str(spent))
        else:
            repair += Decimal(str(spent))
            measured += Decimal(str(by_clock.get(what, 0)))
    try:
        worth = claim_check.worth(
            programme, rate.amount if rate.given and not other else None, repair,
            [one.amount for one in prices], job.paperwork.codes.labour, finding, measured,
        )  # fmt: skip
    except ValueError as error:
        raise Refused(str(error)) from error
    labour, diagnosis, parts = worth.rules
    if only_labour and not prices and not unpriced:
        parts = LABOUR_ONLY
    sources = ", ".join(dict.fromkeys(one.source for one in prices))
    its = (
        f"it is in {rate.currency}, the programme pays in {pays}: write a rate an hour into its "
        "file and put the job under it again"
    ) if other and worth.unrated else ""
    notes = (*worth.notes, *([f"the shop's rate: {its}"] if its else ()),
             *(one.note for _, one in unpriced))  # fmt: skip
    rules = (labour, diagnosis, f"{parts} ({sources})" if sources else parts)
    likely = sum((one.likely for _, one in unpriced), Decimal(0))
    likely *= 1 + programme.parts_markup / 100
    return replace(
        worth, notes=notes, rules=rules, unpriced=tuple(words for words, _ in unpriced),
        likely=Money(likely, programme.currency).rounded(), unread=tuple(unread),
        other_rate=its,
    )  # fmt: skip
