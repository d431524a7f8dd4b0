"""What a claim should bring by its programme's rules, from the minutes and parts of the job."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from knowngood.job.job import Job
from knowngood.places.gather import setup_of
from knowngood.places.part_price import part_price
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop import claim_check
from knowngood.shop.claim_check import Worth
from knowngood.shop.programme import Programme


def worth_of(record: Record, programme: Programme, job: Job) -> Worth:
    """Labour, diagnosis and parts of a job whose part is decided. Raises Refused."""
    rate = rate_of(record, job)
    machine = setup_of(record, job).machine
    examples = {p.id: (p.words, Decimal(str(p.price))) for p in machine.parts}
    wanted: list[tuple[str, str]] = []
    if job.decision is not None:
        wanted = [(job.decision.part, job.decision.number)]
        wanted += [(str(o["part"]), str(o.get("number", "")))
                   for o in job.decision.proof.get("also", ())]  # fmt: skip
    prices = []
    for part, part_number in wanted:
        words, example = examples.get(part, (part, None))
        found = part_price(record, job, words.lower(), part_number, example, programme.currency)
        if found is not None:
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
    notes = (*worth.notes, *(one.note for one in prices if one.note))
    rules = (labour, diagnosis, f"{parts} ({sources})" if sources else parts)
    return replace(worth, notes=notes, rules=rules)
