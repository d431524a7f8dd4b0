"""A supplier's terms in words, and what whoever orders is told: how the order stands against them,
and a line for a job that does not want it, or has it on order already."""

from __future__ import annotations

from decimal import Decimal

from knowngood.job.stockroom import Placed, Stockroom, SupplierNoted
from knowngood.places.gather import load_job
from knowngood.places.part_meant import awaited, part_of
from knowngood.places.record import Record
from knowngood.shop.money import Money, nothing


def against_terms(room: Stockroom, placed: Placed) -> tuple[str, ...]:
    """Where an order stands against the noted terms of its supplier; () where it does not."""
    terms = room.suppliers.get(placed.supplier)
    if terms is None:
        return ()
    currency = placed.currency
    if currency and currency != terms.currency:
        return (f"the order is in {currency}, the terms of {placed.supplier} in {terms.currency}",)
    one = terms.currency
    prices = [Decimal(str(line["price"])) * int(line["count"]) for line in placed.lines]
    total = Money(sum(prices, Decimal(0)), one)
    least = Money(Decimal(terms.minimum), one)
    if not all(prices) or not total < least or least == nothing(one):
        return ()  # a line without a price: what it comes to is not known
    return (f"{total} is {least - total} below the least order of {placed.supplier}, {least}",)


def for_its_jobs(record: Record, room: Stockroom, placed: Placed) -> tuple[str, ...]:
    """A number that its job is not known to want, and one that another order brings it, too."""
    found = []
    for line in placed.lines:
        for job_id in line.get("jobs", ()):
            job = load_job(record, job_id)
            if part_of(record, job, line["number"], placed) is None:
                wants = awaited(job)
                found.append(
                    f"job {job.name} is not known to want {line['number']}, and it is not noted "
                    f"there: " + (f"it wants {wants}" if wants else "no part is decided yet")
                )
            twice = [
                one.order for one in room.orders.values()
                if one.order != placed.order and one.open.get(line["key"])
                and any(job_id in other.get("jobs", ()) and other["key"] == line["key"]
                        for other in one.lines)
            ]  # fmt: skip
            if twice:
                found.append(f"{line['number']} for job {job.name} is on order {twice[0]}, too")
    if found:
        found.append("if that is a slip, take the order back")
    return tuple(found)


def terms_words(terms: SupplierNoted) -> str:
    """ "Tri-County: least order 60.00 USD, freight 9.50 USD"; "none" for an amount of 0."""
    least, freight = (
        str(Money(Decimal(text), terms.currency)) if Decimal(text) else "none"
        for text in (terms.minimum, terms.freight)
    )
    return f"{terms.supplier}: least order {least}, freight {freight}, orders in {terms.currency}"


def terms_told(room: Stockroom) -> tuple[str, ...]:
    """The terms of every supplier, a line each, by name."""
    return tuple(terms_words(room.suppliers[name]) for name in sorted(room.suppliers))
