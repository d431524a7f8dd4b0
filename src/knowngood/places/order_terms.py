"""A supplier's terms in words, and what an order is told of them: the least order, the currency."""

from __future__ import annotations

from decimal import Decimal

from knowngood.job.stockroom import Placed, Stockroom, SupplierNoted
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
