"""What a claim may ask for a part: what it was ordered at, else the list's price, else a question.

A machine file's price is an example without a currency and no money of the shop's: it says only how
much is likely at stake.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM, OrderPlaced, stockroom_of
from knowngood.places.parts import lines_of
from knowngood.places.record import Record
from knowngood.shop.supersession import same_number

WAY: Final = "take the price list, or write the order down"


@dataclass(frozen=True, slots=True)
class PartPrice:
    """`note`: why there is no price that can be asked for, and the way out; "" when there is one.
    `amount` is then 0, `likely` what the machine file's example says."""

    amount: Decimal
    source: str
    note: str = ""
    likely: Decimal = Decimal(0)


def part_price(
    record: Record, job: Job, words: str, number: str, example: Decimal | None, currency: str
) -> PartPrice | None:
    """The price of a part of a job in the programme's `currency`; None where none is known.

    `number`: "" where nobody has read it; `example`: the machine file's.
    """
    other = ""
    for amount, of, source in _paid(record, job, number):
        if of in ("", currency):
            return PartPrice(amount, source)
        other = other or f"{amount:.2f} {of} ({source})"
    if other:
        note = f"the {words} is priced at {other}, the programme pays in {currency}"
        return PartPrice(Decimal(0), "other currency", f"{note}: say its price in {currency}")
    if example is None or not example:
        return None
    return PartPrice(
        Decimal(0), "example of the machine file",
        f"the price of the {words} is not given (the machine file's example is {example:.2f}, "
        f"without a currency): {WAY}",
        example,
    )  # fmt: skip


def _paid(record: Record, job: Job, number: str) -> list[tuple[Decimal, str, str]]:
    """(price, currency, where it stands), the best first: this job's order, then the list."""
    if not number:
        return []
    maker = job.opened.maker if job.opened else ""
    listed = lines_of(record, number, maker)
    keys = {same_number(number), *(same_number(n) for one in listed[:1] for n in one.chain)}
    found = []
    events = record.log.events(STOCKROOM)
    standing = stockroom_of(events).orders
    for order in (e.event for e in reversed(events) if isinstance(e.event, OrderPlaced)):
        for line in order.lines["lines"] if order.order in standing else ():
            price = Decimal(str(line.get("price", 0)))
            if job.id in line.get("jobs", ()) and line["key"] in keys and price:
                found.append((price, order.currency, f"order {order.order}"))
    found += [(one.price, one.currency, f"list of {one.maker}") for one in listed if one.price]
    return found
