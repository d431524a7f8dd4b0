"""What a claim should bring by its programme's rules, from the minutes and parts of the job."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from knowngood.job.job import Job
from knowngood.places.gather import setup_of
from knowngood.places.part_meant import parts_decided
from knowngood.places.part_price import WAY, part_price
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop import claim_check
from knowngood.shop.claim_check import Worth
from knowngood.shop.money import Money
from knowngood.shop.programme import Programme


def worth_of(record: Record, programme: Programme, job: Job) -> Worth:
    """Labour, diagnosis and parts of a job whose part is decided. Raises Refused."""
    rate = rate_of(record, job)
    machine = setup_of(record, job).machine
    examples = {p.id: (p.words, Decimal(str(p.price))) for p in machine.parts}
    prices, unpriced = [], []
    for part, _, part_number in parts_decided(job):
        words, example = examples.get(part, (part, None))
        found = part_price(record, job, words.lower(), part_number, example, programme.currency)
        if found is None or found.note:
            note = found.note if found else f"the price of the {words.lower()} is not given: {WAY}"
            unpriced.append((words.lower(), note, found.likely if found else Decimal(0)))
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
            programme, rate.amount if rate.given else None, repair,
            [one.amount for one in prices], job.paperwork.codes.labour, finding, measured,
        )  # fmt: skip
    except ValueError as error:
        raise Refused(str(error)) from error
    labour, diagnosis, parts = worth.rules
    sources = ", ".join(dict.fromkeys(one.source for one in prices))
    notes = (*worth.notes, *(note for _, note, _ in unpriced))
    rules = (labour, diagnosis, f"{parts} ({sources})" if sources else parts)
    likely = sum((amount for _, _, amount in unpriced), Decimal(0))
    likely *= 1 + programme.parts_markup / 100
    return replace(
        worth, notes=notes, rules=rules, unpriced=tuple(words for words, _, _ in unpriced),
        likely=Money(likely, programme.currency).rounded(),
    )  # fmt: skip
