"""What a claim may ask for a part: what it was ordered at, else the list's price, else a question.

A machine file's price is an example without a currency and no money of the shop's: it says only how
much is likely at stake. Work without a part ("labour only") costs 0.00 and has nothing to ask.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM, stockroom_of
from knowngood.machines.machine import ServicePart
from knowngood.places.gather import machine_file_of
from knowngood.places.parts import lines_of
from knowngood.places.record import Record, Refused
from knowngood.shop.claim_check import LABOUR_ONLY, UNREAD, WAY
from knowngood.shop.supersession import same_number
from knowngood.store.problem import StoreProblem


@dataclass(frozen=True, slots=True)
class PartPrice:
    """`note`: why there is no price that can be asked for, and the way out; "" when there is one.
    `amount` is then 0, `likely` what the machine file's example says."""

    amount: Decimal
    source: str
    note: str = ""
    likely: Decimal = Decimal(0)


def part_price(
    record: Record, job: Job, part: str, words: str, number: str, currency: str,
    pays: str = "the programme pays",
) -> PartPrice:  # fmt: skip
    """The price of a part of a job in this `currency`; with a `note` where none is known.

    `part`: its id in the machine file; `number`: "" where nobody has read it; `pays`: whose
    currency it is.
    """
    other = ""
    for amount, of, source in _paid(record, job, number):
        if of in ("", currency):
            return PartPrice(amount, source)
        other = other or f"{amount:.2f} {of} ({source})"
    if other:
        note = f"the {words} is priced at {other}, {pays} in {currency}"
        return PartPrice(Decimal(0), "other currency", f"{note}: say its price in {currency}")
    known, way = _in_file(record, job, part), WAY if number else UNREAD
    if known is not None and known.labour_only:
        return PartPrice(Decimal(0), LABOUR_ONLY)
    if known is None or not known.price:
        return PartPrice(Decimal(0), "not given", f"the price of the {words} is not given: {way}")
    example = Decimal(str(known.price))
    return PartPrice(
        Decimal(0), "example of the machine file",
        f"the price of the {words} is not given (the machine file's example is {example:.2f}, "
        f"without a currency): {way}",
        example,
    )  # fmt: skip


def labour_only(record: Record, job: Job, part: str) -> bool:
    """Whether this part of the job's machine file is work without a part."""
    known = _in_file(record, job, part)
    return known is not None and known.labour_only


def _in_file(record: Record, job: Job, part: str) -> ServicePart | None:
    try:
        machine = machine_file_of(record, job)
    except (Refused, StoreProblem):
        return None  # no file names this machine, or it is not here
    return next((one for one in machine.parts if one.id == part), None)


def _paid(record: Record, job: Job, number: str) -> list[tuple[Decimal, str, str]]:
    """(price, currency, where it stands), the best first: this job's order, then the list."""
    if not number:
        return []
    maker = job.opened.maker if job.opened else ""
    listed = lines_of(record, number, maker)
    keys = {same_number(number), *(same_number(n) for one in listed[:1] for n in one.chain)}
    found = []
    standing = stockroom_of(record.log.events(STOCKROOM)).orders
    for order in reversed(list(standing.values())):
        for line in order.lines:
            price = Decimal(str(line.get("price", 0)))
            if job.id in line.get("jobs", ()) and line["key"] in keys and price:
                found.append((price, order.currency, f"order {order.order}"))
    found += [(one.price, one.currency, f"list of {one.maker}") for one in listed if one.price]
    return found
