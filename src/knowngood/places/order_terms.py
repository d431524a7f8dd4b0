"""What an order is told of its supplier's terms: the least order, the currency."""

from __future__ import annotations

from decimal import Decimal

from knowngood.job.stockroom import Placed, Stockroom
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
